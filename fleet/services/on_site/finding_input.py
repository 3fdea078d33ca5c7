"""What the phone or the office says about one need at one stop, held to what can be true."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime

from fleet.models import Cause, Finding
from fleet.services.visits.turf_found import TURF_WORDS

MOST_OF_A_PART = 999
SEEN_STATIONS = ("dry_stations", "soggy_stations")
_LISTS = ("program_ids", "dry_stations", "soggy_stations")


class BadFinding(ValueError):
    """A finding that cannot be kept; the message says which field, and what was expected."""


@dataclass(frozen=True, slots=True)
class FindingInput:
    """What the phone or the office sends about one need at one stop.

    Parameters
    ----------
    client_key
        Made by the sender: sending twice does no harm.
    stop_id
        The stop.
    need_id
        The need it answers; None: something else was found.
    recorded_at
        When, by our clock.
    verdict, cause
        Whether the suspicion was right, and what it was, in the watch's words.
    resistance_kohm, soil_temperature_c
        Reading of the sensor [kohm] and soil temperature [degC].
    threshold_kpa
        Threshold as left [kPa]; None: not touched.
    program_keyed_in
        The recommended program now stands in the controller.
    program_ids
        The programs that the sheet showed; empty: those that wait now.
    turf
        good, evenly_dry, patchy, soggy, or empty.
    dry_stations, soggy_stations
        Stations whose zones look evenly dry, or soggy.
    parts
        How many of each part were used, by its code in the catalogue; they leave the truck.
    parts_used
        What the catalogue does not hold, in words.
    need_is_met
        False: somebody must come again.
    """

    client_key: str
    stop_id: int
    recorded_at: datetime
    need_id: int | None = None
    verdict: str = Finding.Verdict.NOT_CHECKED
    cause: str = ""
    resistance_kohm: float | None = None
    soil_temperature_c: float | None = None
    threshold_kpa: float | None = None
    program_keyed_in: bool = False
    program_ids: tuple[int, ...] = ()
    turf: str = ""
    dry_stations: tuple[int, ...] = ()
    soggy_stations: tuple[int, ...] = ()
    parts: Mapping[str, int] = field(default_factory=dict)
    parts_used: str = ""
    service_min: float | None = None
    follow_up: str = ""
    note: str = ""
    need_is_met: bool = True
    answers: Mapping[str, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not 0 < len(self.client_key) <= 64:
            raise BadFinding("client_key: expected 1 to 64 characters")
        if self.verdict not in Finding.Verdict.values:
            raise BadFinding(f"verdict: expected one of {', '.join(Finding.Verdict.values)}")
        if self.cause and self.cause not in Cause.values:
            raise BadFinding(f"cause: expected one of {', '.join(Cause.values)}")
        if self.turf and self.turf not in TURF_WORDS:
            raise BadFinding(f"turf: expected one of {', '.join(TURF_WORDS)}")
        for code, count in self.parts.items():
            if type(count) is not int or not 0 < count <= MOST_OF_A_PART:
                raise BadFinding(
                    f"parts: {code} {count!r}, expected a whole number from 1 to {MOST_OF_A_PART}"
                )
        for name, low, high in (
            ("resistance_kohm", 0.0, 1e6),
            ("soil_temperature_c", -30.0, 60.0),
            ("threshold_kpa", 0.0, 300.0),
            ("service_min", 0.0, 1440.0),
        ):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                raise BadFinding(f"{name}: expected a number from {low:g} to {high:g}")

    def all_answers(self) -> dict[str, object]:
        """Answers to checks, with the stations that looked dry or soggy among them."""
        seen = {name: list(getattr(self, name)) for name in SEEN_STATIONS if getattr(self, name)}
        return {**self.answers, **seen}

    def as_kept(self) -> dict[str, object]:
        """The same as JSON holds it."""
        plain = asdict(self)
        plain["recorded_at"] = self.recorded_at.isoformat()
        for name in _LISTS:
            plain[name] = list(getattr(self, name))
        plain["answers"], plain["parts"] = dict(self.answers), dict(self.parts)
        return plain
