"""What each setting of needs and routes means: words, unit, bounds, where its default comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

ASSUMED: Final = "assumed"
WAITING, RAISING, DRIVING, MINUTES, BREAKS, NIGHT = (
    "What a day of waiting costs",
    "When a need is raised",
    "What driving costs, and how long it takes",
    "Minutes on the spot",
    "Breaks",
    "The plan of the night",
)


@dataclass(frozen=True, slots=True)
class SettingFact:
    """One setting as its page shows it.

    Parameters
    ----------
    name
        Field of `VisitSettings` [-].
    group, words, unit
        Where it stands, what it is, and its unit; `money` stands for the company's currency [-].
    low, high
        Bounds that the page takes, in the setting's own unit [-].
    source
        Published source of the default, or `assumed` [-].
    """

    name: str
    group: str
    words: str
    unit: str
    low: float
    high: float
    source: str = ASSUMED


def _minutes(kind: str, words: str) -> SettingFact:
    """Minutes of a kind of visit."""
    return SettingFact(f"min_{kind}", MINUTES, words, "min", 5, 480)


FACTS: Final = (
    SettingFact("water_price_per_m3", WAITING, "Water, where no tariff is known", "money/m³", 0, 50),
    SettingFact("turf_per_m2", WAITING, "Replacing a square metre of dead lawn", "money/m²", 0, 500),
    SettingFact(
        "turf_days", WAITING, "Days beyond allowed depletion until a lawn counts as lost", "days", 3, 60,
        "own judgement after the drought trials quoted by Fu, Fry and Huang 2004",
    ),
    SettingFact("promise_per_day", WAITING, "A promise to a customer broken", "money, once", 0, 5000),
    SettingFact("change_per_day", WAITING, "Least worth of a flag or a program change", "money/day", 0, 500),
    SettingFact("audit_per_day", WAITING, "An audit that is due", "money/day", 0, 500),
    SettingFact("calendar_per_day", WAITING, "A start-up, winterization or test due", "money/day", 0, 500),
    SettingFact(
        "season_soon_factor", WAITING, "Winterization: times as much in its last two weeks", "times", 1, 50
    ),
    SettingFact(
        "season_late_factor", WAITING, "Winterization: times as much after its day, or before a cold night",
        "times", 1, 100,
    ),
    SettingFact("log_missing_per_day", WAITING, "A bypass log that is missing", "money/day", 0, 500),
    SettingFact(
        "contract_per_day", WAITING, "A visit that a contract includes, at the least", "money/day", 0, 500
    ),
    SettingFact("follow_up_per_day", WAITING, "What a visit left to do", "money/day", 0, 500),
    SettingFact("priority_value", WAITING, "A step of priority, if no value is stated", "money/day", 0, 500),
    SettingFact("log_missing_days", RAISING, "Days without a bypass log", "days", 3, 120),
    SettingFact("audit_every_days", RAISING, "Days between audits", "days", 30, 3650),
    SettingFact("cost_per_km", DRIVING, "A driven kilometre", "money/km", 0, 20),
    SettingFact("cost_per_hour", DRIVING, "An hour of driving", "money/h", 0, 500),
    SettingFact("speed_km_h", DRIVING, "Mean speed, where streets are not known", "km/h", 5, 120),
    SettingFact(
        "circuity", DRIVING, "Way by road over straight line, where streets are not known", "times", 1, 3,
        "1.34 over 300 European cities (Mennicken, Lemoy and Caruso 2024), 1.23 Baltimore (Boeing 2019)",
    ),
    SettingFact("settle_s", DRIVING, "Parking and walking in", "s", 0, 1800),
    SettingFact("service_factor", MINUTES, "All kinds: times as long as planned below", "times", 0.2, 5),
    _minutes("start_up", "Spring start-up"),
    _minutes("audit", "Audit"),
    _minutes("sensor_check", "Sensor check"),
    _minutes("sensor_install", "New sensor"),
    _minutes("program_change", "Program change"),
    _minutes("repair", "Repair"),
    _minutes("move_station_wire", "Exchange of station wires"),
    _minutes("dig", "Dig"),
    _minutes("backflow_test", "Backflow test"),
    _minutes("winterize", "Winterization"),
    _minutes("complaint", "Complaint"),
    _minutes("survey", "Survey of a new site"),
    _minutes("log_missing", "Missing bypass log"),
    SettingFact("break_from_h", BREAKS, "Break starts at the earliest", "h of the day", 6, 20),
    SettingFact("break_to_h", BREAKS, "Break starts at the latest", "h of the day", 6, 22),
    SettingFact("break_from_shift_h", BREAKS, "Shifts shorter than this have none", "h", 0, 12),
    SettingFact(
        "planning_s", NIGHT, "What the planning of the week may take each night", "s", 5, 600
    ),
)  # fmt: skip
FACT_OF: Final = {fact.name: fact for fact in FACTS}
