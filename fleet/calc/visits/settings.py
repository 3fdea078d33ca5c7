"""Numbers behind needs and routes that a company may change, each with unit, default and meaning."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, Final

from fleet.calc.plan.travel import CIRCUITY, SETTLE_S, SPEED_KM_H
from fleet.calc.plan.travel_hours import RushSpan, TravelHours, ordered_spans, parse_rush_hours
from fleet.calc.visits.value import SERVICE_MIN, TURF_LOST_DAYS

PREFIX: Final = "visits."
# The one setting that is no number: lines of text (`travel_hours.parse_rush_hours`).
RUSH_HOURS: Final = "rush_hours"


@dataclass(frozen=True, slots=True)
class VisitSettings:
    """Settings of needs and routes. Money is in the company's currency.

    None of the money figures has a published source: they are planning assumptions to be replaced by the
    company's own.

    Parameters
    ----------
    cost_per_km
        Vehicle cost of a driven kilometre [money].
    cost_per_hour
        Cost of an hour of driving [money].
    speed_km_h
        Mean speed where streets are not known [km/h].
    circuity
        Way by road over great circle where streets are not known [1].
    settle_s
        Parking and walking in at a place [s].
    service_factor
        Factor on all service times of the table [1].
    water_price_per_m3
        Price where no tariff is known [money/m3].
    turf_per_m2
        Cost of replacing a square metre of dead lawn [money/m2].
    turf_days
        Days beyond allowed depletion after which a zone's lawn counts as lost [d].
    promise_per_day
        What a broken promise to a customer costs, counted once on its day [money].
    contract_per_day
        Least value of a day of waiting of a visit that a contract includes and that is due [money/day].
    audit_per_day, calendar_per_day, log_missing_per_day, change_per_day
        Value of a day of waiting of needs that come from calendar, missing data and program changes where
        nothing else is at stake [money/day].
    season_soon_factor, season_late_factor
        What the calendar's value is multiplied by in the last two weeks before a winterization's day, and
        after it or before a cold night [1].
    follow_up_per_day
        Value of a day of waiting of what a finding left to do [money/day].
    priority_value
        Value of a day of waiting for each step of priority where no value is given [money/day].
    log_missing_days
        Days without a bypass log after which somebody is asked to go [d].
    audit_every_days
        Days between audits of a garden [d].
    break_from_h, break_to_h
        Bounds of the start of the break [h].
    break_from_shift_h
        Shifts shorter than this have no break [h].
    min_start_up, min_audit, min_sensor_check, min_sensor_install, min_program_change, min_repair, \
min_move_station_wire, min_dig, min_backflow_test, min_winterize, min_complaint, min_survey, min_log_missing
        Planned time on the spot of each kind of visit, before findings are looked at [min].
    planning_s
        Time that the night's planning of the week may take [s].
    rush_hours
        Hours of the day in which driving takes longer.
    """

    cost_per_km: float = 0.45
    cost_per_hour: float = 42.0
    speed_km_h: float = SPEED_KM_H
    circuity: float = CIRCUITY
    settle_s: float = SETTLE_S
    service_factor: float = 1.0
    water_price_per_m3: float = 2.0
    turf_per_m2: float = 9.0
    turf_days: float = TURF_LOST_DAYS
    promise_per_day: float = 150.0
    audit_per_day: float = 4.0
    calendar_per_day: float = 6.0
    season_soon_factor: float = 3.0
    season_late_factor: float = 10.0
    log_missing_per_day: float = 3.0
    change_per_day: float = 2.0
    follow_up_per_day: float = 5.0
    contract_per_day: float = 1.0
    priority_value: float = 10.0
    log_missing_days: float = 14.0
    audit_every_days: float = 365.0
    break_from_h: float = 11.0
    break_to_h: float = 14.0
    break_from_shift_h: float = 5.5
    min_start_up: float = SERVICE_MIN["start_up"]
    min_audit: float = SERVICE_MIN["audit"]
    min_sensor_check: float = SERVICE_MIN["sensor_check"]
    min_sensor_install: float = SERVICE_MIN["sensor_install"]
    min_program_change: float = SERVICE_MIN["program_change"]
    min_repair: float = SERVICE_MIN["repair"]
    min_move_station_wire: float = SERVICE_MIN["move_station_wire"]
    min_dig: float = SERVICE_MIN["dig"]
    min_backflow_test: float = SERVICE_MIN["backflow_test"]
    min_winterize: float = SERVICE_MIN["winterize"]
    min_complaint: float = SERVICE_MIN["complaint"]
    min_survey: float = SERVICE_MIN["survey"]
    min_log_missing: float = SERVICE_MIN["log_missing"]
    planning_s: float = 10.0
    rush_hours: tuple[RushSpan, ...] = ()

    def __post_init__(self) -> None:
        for one in fields(self):
            if one.name != RUSH_HOURS and not getattr(self, one.name) >= 0:
                raise ValueError(f"{one.name} is {getattr(self, one.name)}, expected 0 or more")
        ordered_spans(self.rush_hours)
        if not self.turf_days > 0:
            raise ValueError("turf_days is 0, expected more")
        if self.break_to_h < self.break_from_h:
            raise ValueError("the break's bounds are in the wrong order")


def planned_min(settings: VisitSettings, kind: str) -> float:
    """Planned time on the spot of a kind of visit, before findings are looked at [min].

    Parameters
    ----------
    settings
        The company's settings.
    kind
        Kind of visit [-].
    """
    return float(getattr(settings, f"min_{kind}")) * settings.service_factor


def travel_hours(settings: VisitSettings, *, points_per_money: int) -> TravelHours | None:
    """Hours at which driving takes longer; None where it takes as long at any.

    Parameters
    ----------
    settings
        The company's settings.
    points_per_money
        Cost points in one unit of money.
    """
    if not settings.rush_hours:
        return None
    return TravelHours(settings.rush_hours, settings.settle_s, settings.cost_per_hour * points_per_money)


def visit_settings(changed: Mapping[str, object]) -> VisitSettings:
    """Settings with the company's own numbers in place of defaults; each unit is in its name.

    Parameters
    ----------
    changed
        Number by name; names of this module stand as `visits.speed_km_h` (or bare), others are not looked at.
    """
    known = {one.name for one in fields(VisitSettings)}
    own: dict[str, Any] = {}
    spans = changed.get(PREFIX + RUSH_HOURS, "")
    for name, value in changed.items():
        bare = name.removeprefix(PREFIX)
        if bare in known and isinstance(value, int | float) and not isinstance(value, bool):
            own[bare] = float(value)
    rush_hours = parse_rush_hours(spans) if isinstance(spans, str) else ()
    return replace(VisitSettings(), rush_hours=rush_hours, **own)
