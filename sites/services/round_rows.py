"""One controller's answer of the round as model rows, with its reasons in plain words."""

from __future__ import annotations

import math
from datetime import date
from typing import Final

import numpy as np

from sites.calc.program_days import starts_text
from sites.calc.program_problem import Problem
from sites.calc.program_times import StationRun, TimerLimits, Timetable, timetable
from sites.calc.round_plan import RoundPlan
from sites.models import Recommendation, RecommendationLine
from sites.selectors.round_inputs import RoundControllers

LITRES_PER_M3: Final = 1000.0


def recommendation_rows(
    *,
    given: Problem,
    plan: RoundPlan,
    at: int,
    found: RoundControllers,
    controller: int,
    week: date,
    today: date,
    price_per_m3: float,
    seasons_used: int,
    short_history: bool,
) -> tuple[Recommendation, list[RecommendationLine]]:
    """The recommendation of the controller at a position, and its lines."""
    zones = np.flatnonzero(given.owner == at)
    case = found.cases[int(given.controllers.case[at])]
    pattern = int(plan.chosen.pattern[at])
    table = _timetable(given, plan, at, found, controller, zones) if pattern >= 0 else None
    days_text = case.choices[pattern].pattern.text if pattern >= 0 else ""
    kpa = float(found.threshold_kpa[controller])
    weight = given.weight[zones]
    row = Recommendation(
        controller_id=int(given.controllers.controller_id[at]),
        week=week,
        computed_on=today,
        is_change=bool(plan.is_change[at]) and not found.frozen[controller],
        threshold_kpa_now=None if math.isnan(kpa) else kpa,
        threshold_kpa=None if math.isnan(kpa) else kpa,
        cycles_per_event=int(plan.chosen.starts[at]) if table else 1,
        reasons=_reasons(given, plan, at, found, controller, zones, table),
        binding_limit=_binding(given, plan, at, found, controller, zones, table),
        water_at_stake_l=float(plan.water_at_stake_l[at]),
        money_at_stake=float(plan.water_at_stake_l[at]) / LITRES_PER_M3 * price_per_m3,
        dry_zone_days_spared=float(plan.dry_days_spared[at]),
        adequacy_pct_now=_percent(plan.now.adequacy[zones], weight) if plan.now.is_known[at] else None,
        adequacy_pct=_percent(plan.new.adequacy[zones], weight),
        lost_pct_now=_share_lost(plan.now.lost_mm, plan.now.gross_mm, zones)
        if plan.now.is_known[at]
        else None,
        lost_pct=_share_lost(plan.new.lost_mm, plan.new.gross_mm, zones),
        expected_bypass_rate=_bypass_rate(given, plan, at),
        window_used_min=table.used_min if table else None,
        window_min=table.window_min if table else None,
        minutes_now=float(plan.now.minutes_a_week[at]) if plan.now.is_known[at] else None,
        minutes_new=float(plan.new.minutes_a_week[at]),
        candidates_tried=int(plan.chosen.tried[at]),
        seasons_used=seasons_used,
        short_history=short_history,
        needs_wire_move=bool(table and table.needs_wire_move),
    )
    return row, _lines(given, plan, zones, table, days_text)


def _timetable(
    given: Problem, plan: RoundPlan, at: int, found: RoundControllers, controller: int, zones: np.ndarray
) -> Timetable:
    """The chosen program on the clock."""
    case = found.cases[int(given.controllers.case[at])]
    runs = []
    for zone in zones:
        rate, intake = given.zones.precipitation_rate_mm_h[zone], given.zones.intake_rate_mm_h[zone]
        minutes = float(plan.chosen.minutes[zone])
        soak = minutes * (1 + max(rate - intake, 0.0) / intake)
        runs.append(StationRun(int(given.zones.station[zone]), minutes, float(soak)))
    return timetable(
        runs,
        int(plan.chosen.starts[at]),
        case.choices[int(plan.chosen.pattern[at])],
        TimerLimits(
            governing_station=int(found.governing_station[controller]),
            has_free_order=bool(given.controllers.has_free_order[at]),
            program_count=int(given.controllers.program_count[at]),
            settle_min=given.settings.sensor_settle_min,
            start_step_min=given.settings.start_step_min,
            done_by_min=given.settings.done_by_min,
        ),
    )


def _lines(
    given: Problem, plan: RoundPlan, zones: np.ndarray, table: Timetable | None, days_text: str
) -> list[RecommendationLine]:
    """A line for each station of each letter."""
    if table is None:
        return []
    zone_of = {int(given.zones.station[zone]): int(zone) for zone in zones}
    weeks = given.truth.demand_mm.shape[0] / 7.0
    lines = []
    for letter in table.letters:
        for order, run in enumerate(letter.runs, start=1):
            zone = zone_of[run.station]
            depth = float(plan.new.gross_mm[zone]) / weeks
            limit = float(given.zones.runoff_limit_min[zone])
            lines.append(
                RecommendationLine(
                    letter=letter.letter,
                    days=days_text,
                    starts=starts_text(letter.starts_min),
                    station=run.station,
                    run_min=run.minutes,
                    run_order=order,
                    seasonal_adjust_pct=100,
                    cycles_per_event=len(letter.starts_min),
                    week_depth_mm=depth,
                    week_volume_l=depth * float(given.zones.area_m2[zone]),
                    week_need_mm=float(plan.need_mm[zone]) / weeks,
                    adequacy_pct=100 * float(plan.new.adequacy[zone]),
                    lost_pct=_share_lost(plan.new.lost_mm, plan.new.gross_mm, np.array([zone])),
                    dry_days=float(plan.new.dry_share[zone]) * given.truth.demand_mm.shape[0],
                    runoff_limit_min=None if math.isinf(limit) else limit,
                )
            )
    return lines


def _percent(values: np.ndarray, weight: np.ndarray) -> float:
    """Mean by area [%]."""
    return float(100 * (values * weight).sum() / weight.sum())


def _share_lost(lost_mm: np.ndarray, gross_mm: np.ndarray, zones: np.ndarray) -> float:
    """Losses of what is applied [%]; 0 where nothing is."""
    gross = float(gross_mm[zones].sum())
    return float(100 * lost_mm[zones].sum() / gross) if gross > 0 else 0.0


def _bypass_rate(given: Problem, plan: RoundPlan, at: int) -> float | None:
    """Share of the offered starts that the sensor is expected to block; None without a sensor."""
    governing = int(given.governing[at])
    offered = float(plan.chosen.offered[at])
    if governing < 0 or offered <= 0:
        return None
    return float(np.clip(1 - plan.chosen.passes[governing] / offered, 0, 1))


def _binding(
    given: Problem,
    plan: RoundPlan,
    at: int,
    found: RoundControllers,
    controller: int,
    zones: np.ndarray,
    table: Timetable | None,
) -> str:
    """What keeps the least bad program from being good; empty: nothing."""
    if found.unknown_address[controller]:
        return "the address shows no house number"
    if table is None:
        return "no watering is allowed"
    if table.overrun_min > 0:
        return "hours of the watering rule"
    short = plan.new.adequacy[zones] < given.settings.promised_adequacy
    if not short.any():
        return ""
    capped = plan.chosen.minutes[zones] >= given.cap_min[zones] - 1e-6
    if (short & capped & np.isfinite(given.zones.runoff_limit_min[zones])).any():
        return "run-off limit"
    case = found.cases[int(given.controllers.case[at])]
    if not case.choices[0].runs.all():
        return "watering days"
    return "root zone holds too little between starts"


def _reasons(
    given: Problem,
    plan: RoundPlan,
    at: int,
    found: RoundControllers,
    controller: int,
    zones: np.ndarray,
    table: Timetable | None,
) -> list[str]:
    """Plain sentences, the deciding one first."""
    if table is None:
        why = _binding(given, plan, at, found, controller, zones, table)
        return [f"No program can be issued: {why}."]
    reasons = []
    stations = given.zones.station[zones]
    if not plan.now.is_known[at]:
        reasons.append("Nobody told what the timer is set to now.")
    past = stations[plan.is_past_runoff[zones]]
    if past.size:
        reasons.append(f"{_stations(past)} now run past the run-off limit of soil, slope and heads.")
    if plan.now.is_known[at]:
        adequate = plan.now.adequacy[zones]
        dry = stations[adequate < given.settings.promised_adequacy]
        if dry.size:
            got = f"{100 * adequate.min():.0f} %"
            reasons.append(f"As set, {_stations(dry).lower()} would get as little as {got} of the need.")
        applied = plan.now.gross_mm[zones].sum() / max(float(plan.new.gross_mm[zones].sum()), 1.0)
        if applied > 1.15:
            reasons.append(f"As set, it would apply {applied:.1f} times as much water as the new program.")
    least = 100 * float(plan.new.adequacy[zones].min())
    passes = int(plan.chosen.starts[at])
    words = "One pass a watering day gives" if passes == 1 else f"{passes} short passes a watering day give"
    reasons.append(f"{words} every zone {least:.0f} % or more of its need.")
    if table.needs_wire_move:
        governing = int(found.governing_station[controller])
        cut = _stations(np.array(table.cut_short)).lower()
        reasons.append(
            f"Station {governing} has the sensor but cannot run last: until two station wires are exchanged, "
            f"{cut} may be cut short."
        )
    return reasons


def _stations(numbers: np.ndarray) -> str:
    """Stations in words."""
    listed = ", ".join(str(int(number)) for number in sorted(numbers))
    return f"Stations {listed}" if len(numbers) > 1 else f"Station {listed}"
