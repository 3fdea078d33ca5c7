"""A zone's month packed into bytes, and many of them unpacked into arrays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from sites.calc.water_balance import COLUMNS

VERSION: Final = 1
STATE_VALUES: Final = 4


@dataclass(frozen=True, slots=True)
class ZoneMonth:
    """A zone's month.

    Parameters
    ----------
    values
        Float32 of shape (columns, days), columns as `water_balance.COLUMNS`; NaN = day not computed [mm].
    irrigation_source
        Codes of `sites.calc.irrigation.Source`, uint8, (days,).
    start_state
        State before the first computed day: depletion, variance, per coefficient, per rate, float64 (4,).
    """

    values: npt.NDArray[np.float32]
    irrigation_source: npt.NDArray[np.uint8]
    start_state: npt.NDArray[np.float64]


def pack_month(month: ZoneMonth) -> bytes:
    """Bytes of a zone's month: version, days, state, sources, values; little-endian."""
    days = month.values.shape[1]
    return b"".join(
        (
            bytes((VERSION, days)),
            month.start_state.astype("<f8").tobytes(),
            month.irrigation_source.astype("u1").tobytes(),
            np.ascontiguousarray(month.values, dtype="<f4").tobytes(),
        )
    )


def unpack_month(packed: bytes) -> ZoneMonth:
    """The month of packed bytes.

    Parameters
    ----------
    packed
        As `pack_month` made them; a ValueError tells of an unknown version.
    """
    if not packed or packed[0] != VERSION:
        raise ValueError(f"packed month of version {packed[0] if packed else None}, expected {VERSION}")
    days = packed[1]
    at = 2 + 8 * STATE_VALUES
    return ZoneMonth(
        values=np.frombuffer(packed, "<f4", len(COLUMNS) * days, at + days).reshape(len(COLUMNS), days),
        irrigation_source=np.frombuffer(packed, "u1", days, at),
        start_state=np.frombuffer(packed, "<f8", STATE_VALUES, 2),
    )
