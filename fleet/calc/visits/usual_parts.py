"""Parts that a garden water company usually carries, and what visits need (common practice, no source)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class UsualPart:
    """A part with what a truck usually holds of it.

    Parameters
    ----------
    code, name, unit
        As the catalogue has them.
    least
        What a truck should hold [units].
    kinds
        How many a kind of visit cannot do without, by kind [units].
    """

    code: str
    name: str
    unit: str
    least: int
    kinds: tuple[tuple[str, int], ...] = ()


USUAL_PARTS: Final = (
    UsualPart("sensor", "sensor", "piece", 2, (("sensor_install", 1),)),
    UsualPart("splice", "watertight splices", "piece", 12, (("sensor_install", 2), ("move_station_wire", 2))),
    UsualPart("wire", "two-conductor wire", "m", 30),
    UsualPart("transformer", "transformer", "piece", 1),
    UsualPart("battery", "backup battery", "piece", 4),
    UsualPart("nozzle", "spray nozzle", "piece", 20),
    UsualPart("spray-head", "spray head", "piece", 4),
    UsualPart("rotor", "rotor head", "piece", 3),
    UsualPart("dripline", "dripline", "m", 20),
    UsualPart("coupling", "pipe coupling", "piece", 8),
    UsualPart("diaphragm", "valve diaphragm", "piece", 3),
    UsualPart("solenoid", "valve solenoid", "piece", 2),
    UsualPart("box-lid", "valve box lid", "piece", 1),
)
