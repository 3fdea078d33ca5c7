"""A timer by the clock whose program only needs another seasonal adjust: one figure to key in.

Where a change pays, the program that is set is tried with every adjust too. If one does nearly as well as the
best new program, it is issued in its place: nobody keys in days, starts and minutes for a point of losses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from sites.calc.program.passes import ProgramLines
from sites.calc.program.slots import breaks_rules
from sites.calc.program.together import keeps_apart
from sites.calc.search.controllers import RuleCase
from sites.calc.search.part import part_of
from sites.calc.search.problem import Problem
from sites.calc.search.round_plan import RoundPlan, missing_and_lost
from sites.calc.search.trial import Slots, Trial, trial
from sites.calc.search.trial_parts import merged_trial, trial_of
from weather.calc.arrays import BoolArray, FloatArray, IntArray

# Adjusts that are tried [%]: tens are quick to key in, and few timers go beyond one and a half.
ADJUSTS_PCT: Final = tuple(range(10, 151, 10))
# Missing adequacy by which it may lie behind the new program, and the least share of its water [1]: the new
# one holds a margin for what the book has wrong, which an adjust must not save.
_MORE_MISSING: Final = 0.005
_LEAST_WATER: Final = 0.97


def set_adjusts(given: Problem, lines: ProgramLines, day: np.datetime64) -> FloatArray:
    """Seasonal adjust that all letters of a timer share [%], (controllers,); NaN: none, or several.

    Parameters
    ----------
    given
        The controllers.
    lines
        What is set, line by line.
    day
        Newest day that counts.
    """
    found = np.full(len(given.controllers), np.nan)
    counts = lines.as_of <= day
    for at, pk in enumerate(given.controllers.controller_id):
        mine = counts & (lines.controller_id == pk)
        if not mine.any():
            continue
        adjusts = np.unique(lines.seasonal_adjust_pct[mine & (lines.as_of == lines.as_of[mine].max())])
        if adjusts.size == 1 and adjusts[0] > 0:
            found[at] = adjusts[0]
    return found


def with_adjusts(
    plan: RoundPlan,
    given: Problem,
    now: Slots,
    *,
    may: BoolArray,
    adjust_now: FloatArray,
    cases: Sequence[RuleCase],
    zone_case: IntArray | None = None,
) -> RoundPlan:
    """The plan, with another adjust in the place of a new program where that does nearly as well.

    Parameters
    ----------
    plan
        The round's answer.
    given
        The controllers with their zones.
    now
        What is set.
    may
        Whether what is set keeps the rules and the new program fits, (controllers,).
    adjust_now
        Adjust that is set [%], NaN where there is not one, (controllers,).
    cases, zone_case
        Rule cases, and the case of each zone by itself, as for `breaks_rules`.
    """
    past = np.logical_or.reduceat(plan.is_past_runoff, given.first)
    apart = np.isin(np.arange(len(may)), list(plan.splits))
    wanted = plan.is_change & may & now.is_known & (given.governing < 0) & np.isfinite(adjust_now)
    rows = np.flatnonzero(wanted & ~past & ~apart)
    if rows.size == 0:
        return plan
    part, mine = part_of(given, rows), np.isin(given.owner, rows)
    slots = Slots(
        np.ascontiguousarray(now.runs[:, rows]),
        now.letter[rows],
        now.minutes[mine],
        now.is_behind[mine],
        now.is_known[rows],
        now.start_min[rows],
    )
    own = None if zone_case is None else zone_case[mine]
    planned = trial_of(given, plan.new, rows)
    best, cost, chosen = planned, np.full(rows.size, np.inf), np.full(rows.size, np.nan)
    for adjust in ADJUSTS_PCT:
        factor = (adjust / adjust_now[rows])[part.owner]
        tried = replace(slots, minutes=slots.minutes * factor[:, None])
        done = trial(part, tried)
        missing, lost = missing_and_lost(part, done)
        weighed = part.settings.shortfall_weight * missing + lost
        better = _as_good(part, done, planned) & _fits(part, tried, cases, own) & (weighed < cost)
        best = merged_trial(part, best, np.arange(rows.size), better, done)
        cost, chosen = np.where(better, weighed, cost), np.where(better, float(adjust), chosen)
    wins = np.isfinite(chosen)
    if not wins.any():
        return plan
    new = merged_trial(given, plan.new, rows, wins, best)
    litres = np.add.reduceat((plan.now.gross_mm - new.gross_mm) * given.zones.area_m2, given.first)
    dry = (plan.now.dry_share - new.dry_share) * given.offered.shape[0]
    is_won = np.isin(np.arange(len(may)), rows[wins])
    return replace(
        plan,
        new=new,
        water_at_stake_l=np.where(is_won, litres, plan.water_at_stake_l),
        dry_days_spared=np.where(is_won, np.add.reduceat(dry, given.first), plan.dry_days_spared),
        adjust_pct={int(row): float(pct) for row, pct in zip(rows[wins], chosen[wins], strict=True)},
    )


def _as_good(part: Problem, done: Trial, planned: Trial) -> BoolArray:
    """Whether a program does nearly what the new one does, zone by zone and in all, (controllers,)."""
    settings, area = part.settings, part.zones.area_m2
    (missing, lost), (missing_new, lost_new) = (missing_and_lost(part, one) for one in (done, planned))
    least = np.minimum(planned.adequacy, settings.promised_adequacy)
    zones = (done.adequacy >= least - _MORE_MISSING) & (
        (done.dry_share <= settings.most_dry_share) | (done.dry_share <= planned.dry_share)
    )
    gross, gross_new = (np.add.reduceat(one.gross_mm * area, part.first) for one in (done, planned))
    return np.asarray(
        np.logical_and.reduceat(zones, part.first)
        & (missing <= missing_new + _MORE_MISSING)
        & (lost <= lost_new + settings.keep_loss_clock / 2)
        & (gross >= _LEAST_WATER * gross_new)
    )


def _fits(part: Problem, slots: Slots, cases: Sequence[RuleCase], zone_case: IntArray | None) -> BoolArray:
    """Whether a program keeps run-off limits, longest runs, its hours, and ends before its next start."""
    longest = slots.minutes.max(axis=1)
    limit = np.minimum(part.zones.runoff_limit_min, part.controllers.max_run_min[part.owner])
    a_day = np.zeros(len(part.owner))
    for day in range(slots.runs.shape[0]):
        running = slots.runs[day][part.owner]
        minutes = np.take_along_axis(slots.minutes, slots.letter[part.owner], axis=1)
        a_day = np.maximum(a_day, (minutes * running).sum(axis=1))
    zones = (longest <= limit + 1e-6) & (a_day <= part.max_station_min[part.owner] + 1e-6)
    fits = np.logical_and.reduceat(zones, part.first) & ~breaks_rules(part, slots, cases, zone_case)
    return np.asarray(fits & keeps_apart(part, slots))
