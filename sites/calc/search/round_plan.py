"""The round's answer for some controllers: the best program, what is set now, and whether a change pays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from sites.calc.program.apart import Split
from sites.calc.program.letters import best_programs_and_letters
from sites.calc.program.own_hours import OwnHours, in_own_hours
from sites.calc.search.chosen import Chosen
from sites.calc.search.problem import Problem
from sites.calc.search.reach import refill_reach
from sites.calc.search.score import irrigation_need_mm, landscape_need_mm
from sites.calc.search.short import has_no_run
from sites.calc.search.trial import Slots, Trial, trial
from weather.calc.arrays import BoolArray, DayArray, FloatArray

# A share of days beyond allowed depletion counts this much as missing water [1]: turf greys, but lives.
DRY_DAYS_COUNT = 0.05


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """Best against set now, over the horizon.

    Parameters
    ----------
    chosen
        The best programs.
    new, now
        Outcome of the best and of what is set, under the same weather.
    need_mm
        What irrigation has to bring to each zone [mm], (zones,).
    is_change
        Whether a change is worth making, (controllers,).
    is_past_runoff
        Whether a run set now is longer than the run-off limit, (zones,).
    water_at_stake_l
        Gross water of now less that of new [L], (controllers,).
    dry_days_spared
        Zone-days beyond allowed depletion of now less those of new [d], (controllers,).
    reach
        Share of ET that a full refill on every open day would meet [1], (zones,).
    splits
        Programs in the stations' own hours, by position of the controller, where those are better.
    adjust_pct
        Seasonal adjust of what is set that stands in the place of a new program [%], by position of the
        controller.
    """

    chosen: Chosen
    new: Trial
    now: Trial
    need_mm: FloatArray
    is_change: BoolArray
    is_past_runoff: BoolArray
    water_at_stake_l: FloatArray
    dry_days_spared: FloatArray
    reach: FloatArray
    splits: Mapping[int, Split] = field(default_factory=dict)
    adjust_pct: Mapping[int, float] = field(default_factory=dict)


def round_plan(
    given: Problem,
    *,
    now: Slots,
    breaks_rule: BoolArray,
    own: OwnHours | None = None,
    days: DayArray | None = None,
) -> RoundPlan:
    """The best program of each controller, held against what is set.

    A change is material where missing adequacy falls by more than the keep band and dry days are spared, or
    losses per need fall by more and litres are, or where what is set is unknown, breaks a rule, or runs off
    (but for a timer whose step is longer than the run-off limit, where no run off means no water).

    Parameters
    ----------
    given
        Controllers of one kind with their zones.
    now
        What is set.
    breaks_rule
        Whether what is set runs outside permitted days or hours, (controllers,).
    own, days
        Hours by station and the days of the horizon [datetime64 days]; None: all stations of a controller
        have the same.
    """
    chosen, planned = best_programs_and_letters(given)
    splits: Mapping[int, Split] = {}
    if own is not None and days is not None:
        chosen, planned, splits = in_own_hours(given, chosen, planned, own, days)
    present = trial(given, now)
    past = present.minutes > given.zones.runoff_limit_min + 1e-6
    missing_now, lost_now = missing_and_lost(given, present)
    missing_new, lost_new = missing_and_lost(given, planned)
    settings = given.settings
    keep_loss = np.where(given.governing >= 0, settings.keep_loss, settings.keep_loss_clock)
    less_missing, less_lost = missing_now - missing_new, lost_now - lost_new
    dry = (present.dry_share - planned.dry_share) * given.offered.shape[0]
    dry_spared = np.add.reduceat(dry, given.first)
    lost_l = np.add.reduceat((present.lost_mm - planned.lost_mm) * given.zones.area_m2, given.first)
    # Water saved by letting the garden go dry is no gain.
    is_better = (less_missing > settings.keep_shortfall) & (dry_spared >= settings.least_dry_days)
    is_better |= (
        (less_lost > keep_loss)
        & (lost_l >= settings.least_lost_l)
        & (less_missing > -settings.keep_shortfall)
    )
    # A run past the run-off limit is a reason to change, but where the timer's step is longer than that limit
    # the program without it leaves the station dry: then what is set stays, and the conflict is told.
    dries = np.logical_or.reduceat(has_no_run(given), given.first) & (less_missing < -settings.keep_shortfall)
    runs_off = np.logical_or.reduceat(past, given.first) & ~dries
    is_change = (is_better | ~now.is_known | runs_off | breaks_rule) & (chosen.pattern >= 0)
    litres = (present.gross_mm - planned.gross_mm) * given.zones.area_m2
    return RoundPlan(
        chosen=chosen,
        new=planned,
        now=present,
        need_mm=irrigation_need_mm(given.truth),
        is_change=is_change,
        is_past_runoff=past,
        water_at_stake_l=np.where(now.is_known, np.add.reduceat(litres, given.first), 0.0),
        dry_days_spared=np.where(now.is_known, dry_spared, 0.0),
        reach=refill_reach(given),
        splits=splits,
    )


def missing_and_lost(given: Problem, done: Trial) -> tuple[FloatArray, FloatArray]:
    """Missing adequacy and losses per need of each controller, weighted by area [1].

    Parameters
    ----------
    given
        The controllers with their zones.
    done
        Outcome of their programs.
    """
    missing = np.maximum(given.settings.target_adequacy - done.adequacy, 0.0)
    missing += DRY_DAYS_COUNT * np.maximum(done.dry_share - given.settings.most_dry_share, 0.0)
    lost = done.lost_mm / landscape_need_mm(given.truth)
    area = given.zones.area_m2
    share = area / np.add.reduceat(area, given.first)[given.owner]
    return np.add.reduceat(missing * share, given.first), np.add.reduceat(lost * share, given.first)
