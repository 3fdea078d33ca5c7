"""Spare parts by suspected cause, to be on the van (common practice, no source)."""

from __future__ import annotations

from typing import Final

PARTS: Final[dict[str, str]] = {
    "stuck_wet": "sensor;watertight splices",
    "stuck_dry": "sensor;watertight splices;two-conductor wire",
    "reads_wet": "sensor;watertight splices",
    "reads_dry": "sensor;watertight splices",
    "erratic": "watertight splices",
    "no_power": "transformer;backup battery",
}
