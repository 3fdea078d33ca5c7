"""Lines of a recommendation: the new program, or what stands in the timer, with what it does to each zone."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sites.calc.program.days import starts_text
from sites.calc.program.patterns import DayChoice
from sites.calc.program.times import Timetable
from sites.calc.search.trial import Trial
from sites.models import RecommendationLine
from sites.services.round_context import RoundContext
from weather.calc.arrays import IntArray


def new_lines(
    of: RoundContext, at: int, zones: IntArray, table: Timetable | None, choices: Sequence[DayChoice]
) -> list[RecommendationLine]:
    """A line for each station of each letter of the new program."""
    if table is None:
        return []
    zone_of = {int(of.given.zones.station[zone]): int(zone) for zone in zones}
    chosen = of.plan.chosen
    lines = []
    for letter in table.letters:
        days = letter.days
        if not days:
            days = choices[int(chosen.low_pattern[at] if letter.is_low else chosen.pattern[at])].pattern.text
        for order, run in enumerate(letter.runs, start=1):
            line = RecommendationLine(
                letter=letter.letter,
                days=days,
                starts=starts_text(letter.starts_min),
                station=run.station,
                run_min=run.minutes,
                run_order=order,
                seasonal_adjust_pct=100,
                cycles_per_event=len(letter.starts_min)
                if letter.days or letter.is_low
                else int(chosen.starts[at]),
            )
            lines.append(_with_figures(line, of, zone_of[run.station], of.plan.new))
    return lines


def set_lines(
    of: RoundContext, at: int, zones: IntArray, adjust_pct: float | None = None
) -> list[RecommendationLine]:
    """The lines that stand in the timer; with another seasonal adjust where only that is to be keyed in."""
    zone_of = {int(of.given.zones.zone_id[zone]): int(zone) for zone in zones}
    controller = of.given.controllers.controller_id[at]
    mine = (of.lines.controller_id == controller) & (of.lines.as_of <= np.datetime64(of.week))
    newest = of.lines.as_of[mine].max()
    lines = []
    order: dict[str, int] = {}
    for row in np.flatnonzero(mine & (of.lines.as_of == newest)):
        letter, zone = str(of.lines.program[row]), zone_of.get(int(of.lines.zone_id[row]))
        if zone is None:
            continue
        order[letter] = order.get(letter, 0) + 1
        line = RecommendationLine(
            letter=letter,
            days=str(of.lines.days[row]),
            starts=str(of.lines.starts[row]),
            station=int(of.given.zones.station[zone]),
            run_min=float(of.lines.run_min[row]),
            run_order=order[letter],
            seasonal_adjust_pct=float(of.lines.seasonal_adjust_pct[row])
            if adjust_pct is None
            else adjust_pct,
            cycles_per_event=max(str(of.lines.starts[row]).count(";") + 1, 1),
        )
        lines.append(_with_figures(line, of, zone, of.plan.now if adjust_pct is None else of.plan.new))
    return lines


def _with_figures(line: RecommendationLine, of: RoundContext, zone: int, done: Trial) -> RecommendationLine:
    """The line with what its program does to the zone."""
    given = of.given
    days = given.truth.demand_mm.shape[0]
    depth = float(done.gross_mm[zone]) * 7.0 / days
    limit = float(given.zones.runoff_limit_min[zone])
    line.week_depth_mm = depth
    line.week_volume_l = depth * float(given.zones.area_m2[zone])
    line.week_need_mm = float(of.plan.need_mm[zone]) * 7.0 / days
    line.adequacy_pct = 100 * float(done.adequacy[zone])
    line.lost_pct = lost_pct(done, np.array([zone]))
    line.dry_days = float(done.dry_share[zone]) * days
    line.runoff_limit_min = None if math.isinf(limit) else limit
    return line


def lost_pct(done: Trial, zones: IntArray) -> float:
    """Losses of what is applied [%]; 0 where nothing is."""
    gross = float(done.gross_mm[zones].sum())
    return float(100 * done.lost_mm[zones].sum() / gross) if gross > 0 else 0.0
