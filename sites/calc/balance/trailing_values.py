"""Values carried along the days."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt


def carried_forward(values: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    """The values with each NaN replaced by the last known value of an earlier day; leading ones stay NaN.

    Parameters
    ----------
    values
        Any values [any unit], (days, columns).
    """
    days = np.arange(values.shape[0])[:, None]
    known = np.where(np.isnan(values), -1, days)
    last = np.maximum.accumulate(known, axis=0)
    found = np.take_along_axis(values, np.maximum(last, 0), axis=0)
    return np.asarray(np.where(last >= 0, found, np.nan).astype(values.dtype))
