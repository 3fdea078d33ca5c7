"""Zones' months of the balance as bytes: small, exact, and with a version of their own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

VERSION = 1
# Rows of the stored array [mm], in this order; NaN: not computed.
COLUMNS = (
    "landscape_et_mm",
    "actual_et_mm",
    "effective_rain_mm",
    "irrigation_net_mm",
    "depletion_mm",
    "depletion_sd_mm",
)
STATE_VALUES = 4
_HEAD = 4
_STATE_END = _HEAD + 8 * STATE_VALUES


class UnknownBlobError(ValueError):
    """Bytes that this version cannot read."""


@dataclass(frozen=True, slots=True)
class ZoneMonths:
    """One calendar month of several zones.

    Parameters
    ----------
    values
        Rows of COLUMNS [mm], float32, (zones, columns, days); NaN where not computed.
    source
        `IrrigationSource` of each day [1], uint8, (zones, days).
    start_state
        State before the first computed day (depletion [mm], variance [mm2], effects of coefficient and of
        rate [mm]), float64, (zones, 4).
    """

    values: npt.NDArray[np.float32]
    source: npt.NDArray[np.uint8]
    start_state: FloatArray

    def __post_init__(self) -> None:
        """Refuse shapes that cannot be packed."""
        zones, columns, days = self.values.shape
        if columns != len(COLUMNS) or not 28 <= days <= 31:
            raise ValueError(f"a month holds {len(COLUMNS)} rows of 28 to 31 days")
        if self.source.shape != (zones, days) or self.start_state.shape != (zones, STATE_VALUES):
            raise ValueError("sources need one value a day, states four values a zone")


def pack_months(months: ZoneMonths) -> list[bytes]:
    """Bytes of each zone's month: version, columns, days, then state, sources and values, little-endian [1].

    Parameters
    ----------
    months
        One calendar month, (zones, columns, days).
    """
    zones, columns, days = months.values.shape
    packed = np.empty((zones, _STATE_END + days + 4 * columns * days), dtype=np.uint8)
    packed[:, :_HEAD] = (VERSION, columns, days, 0)
    packed[:, _HEAD:_STATE_END] = np.ascontiguousarray(months.start_state, dtype="<f8").view(np.uint8)
    packed[:, _STATE_END : _STATE_END + days] = months.source
    values = np.ascontiguousarray(months.values, dtype="<f4").reshape(zones, -1)
    packed[:, _STATE_END + days :] = values.view(np.uint8)
    return [row.tobytes() for row in packed]


def unpack_months(packed: Sequence[bytes]) -> ZoneMonths:
    """The months that the bytes of one calendar month hold, (zones, columns, days).

    Parameters
    ----------
    packed
        Bytes of `pack_months`, at least one, all of the same calendar month.
    """
    head = packed[0][:_HEAD]
    if len(head) < _HEAD or head[0] != VERSION or head[1] != len(COLUMNS):
        raise UnknownBlobError("the stored balance was written by another version: compute it again")
    days = head[2]
    size = _STATE_END + days + 4 * days * len(COLUMNS)
    if any(len(one) != size or one[:_HEAD] != head for one in packed):
        raise UnknownBlobError("the stored balance is damaged: compute it again")
    whole = np.frombuffer(b"".join(packed), dtype=np.uint8).reshape(len(packed), size)
    values = np.ascontiguousarray(whole[:, _STATE_END + days :]).view("<f4")
    return ZoneMonths(
        values=values.reshape(len(packed), len(COLUMNS), days),
        source=whole[:, _STATE_END : _STATE_END + days],
        start_state=np.ascontiguousarray(whole[:, _HEAD:_STATE_END]).view("<f8"),
    )
