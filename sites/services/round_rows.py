"""One controller's answer of the round as model rows, with its reasons in plain words."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Final

import numpy as np

from sites.calc.program.keyed import chosen_timetable
from sites.calc.program.patterns import NOON, DayChoice
from sites.calc.program.times import Timetable
from sites.calc.program.together import side_words, too_thirsty
from sites.calc.rules.stages import MINUTES_A_DAY
from sites.calc.search.assumed_words import zone_assumptions
from sites.calc.search.problem import Problem
from sites.calc.search.round_words import OFF_SEASON, OFF_SEASON_MM, RoundFacts, reasons
from sites.calc.search.short import has_no_run
from sites.calc.search.threshold import threshold_advice
from sites.calc.search.trial import Trial
from sites.models import Recommendation, RecommendationLine
from sites.services.round_context import RoundContext
from sites.services.round_lines import lost_pct, new_lines, set_lines
from weather.calc.arrays import IntArray

LITRES_PER_M3: Final = 1000.0


def recommendation_rows(
    *,
    of: RoundContext,
    at: int,
    controller: int,
    seasons_used: int,
    short_history: bool,
    rain_stood_in_days: int,
    forecast_days: int,
) -> tuple[Recommendation, list[RecommendationLine]]:
    """The recommendation of the controller at a position, and its lines."""
    given, plan, found = of.given, of.plan, of.found
    zones = np.flatnonzero(given.owner == at)
    choices = found.cases[int(given.controllers.case[at])].choices
    split = plan.splits.get(at)
    table = split.table if split else chosen_timetable(given, plan.chosen, at, choices)
    is_change = bool(plan.is_change[at]) and not found.frozen[controller]
    kept = not is_change and bool(plan.now.is_known[at])
    done = plan.now if kept else plan.new
    kpa = float(found.threshold_kpa[controller])
    advice = threshold_advice(
        given,
        at,
        fragile=of.fragile,
        threshold_kpa=kpa,
        steps_kpa=found.threshold_steps[controller],
        watched=found.watched[controller],
    )
    weight = given.weight[zones]
    litres = 0.0 if kept else float(plan.water_at_stake_l[at])
    facts = _facts(of, at, controller, zones, table, advice.words, is_change)
    row = Recommendation(
        controller_id=int(given.controllers.controller_id[at]),
        week=of.week,
        computed_on=of.today,
        is_change=is_change,
        threshold_kpa_now=None if math.isnan(kpa) else kpa,
        threshold_kpa=None if math.isnan(advice.threshold_kpa) else advice.threshold_kpa,
        cycles_per_event=int(plan.chosen.starts[at]) if table else 1,
        reasons=reasons(facts) if table else [_no_program(_binding(of, at, controller))],
        binding_limit=_binding(of, at, controller),
        water_at_stake_l=litres,
        money_at_stake=litres / LITRES_PER_M3 * of.price_per_m3,
        dry_zone_days_spared=0.0 if kept else float(plan.dry_days_spared[at]),
        adequacy_pct_now=_percent(plan.now.adequacy[zones], weight) if plan.now.is_known[at] else None,
        adequacy_pct=_percent(done.adequacy[zones], weight),
        reach_pct=_percent(plan.reach[zones], weight),
        lost_pct_now=lost_pct(plan.now, zones) if plan.now.is_known[at] else None,
        lost_pct=lost_pct(done, zones),
        expected_bypass_rate=_bypass_rate(given, done, at),
        window_used_min=table.used_min if table else None,
        window_min=table.window_min if table else None,
        minutes_now=float(plan.now.minutes_a_week[at]) if plan.now.is_known[at] else None,
        minutes_new=float(done.minutes_a_week[at]),
        candidates_tried=int(plan.chosen.tried[at]),
        seasons_used=seasons_used,
        short_history=short_history,
        rain_stood_in_days=rain_stood_in_days,
        forecast_days=forecast_days,
        needs_wire_move=bool(table and table.needs_wire_move),
    )
    if kept:
        return row, set_lines(of, at, zones)
    if at in plan.adjust_pct:
        lines = set_lines(of, at, zones, plan.adjust_pct[at])
        row.cycles_per_event = max((line.cycles_per_event for line in lines), default=1)
        row.window_used_min = sum(
            line.run_min * line.seasonal_adjust_pct / 100.0 * line.cycles_per_event for line in lines
        )
        return row, lines
    return row, new_lines(of, at, zones, table, choices)


def _facts(
    of: RoundContext,
    at: int,
    controller: int,
    zones: IntArray,
    table: Timetable | None,
    threshold_words: str,
    is_change: bool,
) -> RoundFacts:
    """What the sentences are made of."""
    given, plan = of.given, of.plan
    station = given.zones.station[zones]
    split = plan.splits.get(at)
    used = split.choices if split else _used_choices(of, at)
    choice = used[0] if used else None
    if at in plan.adjust_pct:
        used = ()
    valid = min((one.valid_days for one in used), default=given.settings.horizon_days)
    return RoundFacts(
        station=station,
        past_limit=station[plan.is_past_runoff[zones]],
        adequacy_now=plan.now.adequacy[zones] if plan.now.is_known[at] else None,
        adequacy=plan.new.adequacy[zones],
        gross_now_mm=float(plan.now.gross_mm[zones].sum()) if plan.now.is_known[at] else 0.0,
        gross_mm=float(plan.new.gross_mm[zones].sum()),
        lost_now_pct=lost_pct(plan.now, zones) if plan.now.is_known[at] else 0.0,
        lost_pct=lost_pct(plan.new, zones),
        dry_days_spared=float(plan.dry_days_spared[at]),
        promised=given.settings.promised_adequacy,
        starts=int(plan.chosen.starts[at]),
        low_stations=station[plan.chosen.in_low[zones]],
        is_change=is_change or not plan.now.is_known[at],
        breaks_rule=bool(of.breaks_rule[at]),
        is_frozen=of.found.frozen[controller],
        binding=of.binding[at],
        reach_pct=_percent(plan.reach[zones], given.weight[zones]),
        adequacy_pct=_percent(plan.new.adequacy[zones], given.weight[zones]),
        governing_station=int(of.found.governing_station[controller]),
        log_factor=float(of.log_factor[controller]),
        cut_short=table.cut_short if table else (),
        fragile=station[of.fragile[zones]],
        threshold_words=threshold_words,
        is_morning_after=is_change and table is not None and _is_morning_after(of, at, choice, table),
        off_days=tuple(sorted({day for one in used for day in one.off_days})),
        valid_until=of.week + timedelta(days=valid) if valid < given.settings.horizon_days else None,
        own_hours=split.apart if split and split.main else (),
        adjust_pct=plan.adjust_pct.get(at),
        no_run=station[has_no_run(given)[zones]],
        step_min=float(given.controllers.minute_step[at]),
        together=_together(of, at, table if is_change and at not in plan.adjust_pct else None),
        rests_on=(*of.found.sensor_lacks[controller], *zone_assumptions(given.zones, zones)),
        is_off_season=bool((plan.need_mm[zones] < OFF_SEASON_MM).all()),
        barred=tuple(sorted(set(station.tolist()) - {*split.main, *split.apart})) if split else (),
    )


def _together(of: RoundContext, at: int, table: Timetable | None) -> tuple[str, ...]:
    """What runs side by side, and stations that take more than the supply gives."""
    alone = too_thirsty(of.given, at)
    words = side_words(of.given, at, table.letters) if table is not None else ()
    return (*words, alone) if alone else words


def _used_choices(of: RoundContext, at: int) -> tuple[DayChoice, ...]:
    """The day choice of the main letter; none where nothing may run."""
    choices = of.found.cases[int(of.given.controllers.case[at])].choices
    return (choices[max(int(of.plan.chosen.pattern[at]), 0)],) if choices else ()


def _is_morning_after(of: RoundContext, at: int, choice: DayChoice | None, table: Timetable) -> bool:
    """Whether all starts lie in the early hours of days whose own evening is barred."""
    segments = of.found.cases[int(of.given.controllers.case[at])].segments
    if choice is None or not segments:
        return False
    running = np.flatnonzero(choice.runs[: choice.valid_days])
    barred = not any(closes > MINUTES_A_DAY for day in running for _, closes in segments[day])
    opens_elsewhere = any(closes > MINUTES_A_DAY for day in segments for _, closes in day)
    early = all(start < NOON for letter in table.letters for start in letter.starts_min)
    return barred and opens_elsewhere and early


def _percent(values: np.ndarray, weight: np.ndarray) -> float:
    """Mean by area [%]."""
    return float(100 * (values * weight).sum() / weight.sum())


def _bypass_rate(given: Problem, done: Trial, at: int) -> float | None:
    """Share of the offered starts that the sensor is expected to block; None without a sensor."""
    if given.governing[at] < 0 or done.offered[at] <= 0:
        return None
    return float(np.clip(1 - done.allowed[at] / done.offered[at], 0, 1))


def _binding(of: RoundContext, at: int, controller: int) -> str:
    """What keeps the least bad program from being good; empty: nothing."""
    return of.found.rules_lack[controller] or of.binding[at]


def _no_program(binding: str) -> str:
    """Why there is no program: what binds, or that none is needed."""
    return f"No program can be issued: {binding}." if binding else OFF_SEASON
