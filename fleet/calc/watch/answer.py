"""From inputs to an answer for every controller: fit, filter, outside causes, states, counts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.calibration import calibrated
from fleet.calc.watch.evidence import CountTable, count_table
from fleet.calc.watch.filter import watch_fleet
from fleet.calc.watch.inputs import UNSEEN, WatchInputs
from fleet.calc.watch.log import DailyLog, runs_with_cuts
from fleet.calc.watch.outside import (
    OutsideCauses,
    outside_causes,
    overridden_share,
    with_period_totals,
)
from fleet.calc.watch.periods import seen_counts, spread_periods
from fleet.calc.watch.result import WatchRun, fault_score
from fleet.calc.watch.settings import CAUSES, FleetFit, WatchSettings
from fleet.calc.watch.shared_days import Peers, common_standstill
from fleet.calc.watch.states import (
    ALL_CAUSES,
    Standing,
    Verdict,
    all_cause_probabilities,
    judge,
    seen_days,
    unseen_faults,
    wet_dry_cycles,
)
from fleet.calc.watch.visibility import visibility

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

_PERIOD_WEIGHT = 0.3  # starts of a counted period share one error
_USUAL_DAYS = 28
_OFF_SEASON_DAYS = 28
_SURE_STARTS_DAYS = 14


@dataclass(frozen=True, slots=True)
class WatchAnswer:
    """The answer for every controller.

    Parameters
    ----------
    run
        What the filter says day by day.
    verdict
        State and cause.
    score
        Log odds of a fault of sensor, wire or place, (sites,) [1].
    causes
        Probability of each cause in the order of ALL_CAUSES, (sites, 8) [1].
    outside
        Tests of the causes outside the sensor.
    since
        First day index of the cause, of the last four weeks without one, (sites,) [1].
    counts
        What was seen since then and what was to be expected.
    unseen
        Faults that the days seen could not have shown, for each site.
    calm
        Whether the last fortnight with counts all stayed below the score of watching, (sites,).
    still_days
        Days of the last four weeks on which the timer stood still together with its street or its supplier's
        other gardens, (sites,) [d].
    """

    run: WatchRun
    verdict: Verdict
    score: FloatArray
    causes: FloatArray
    outside: OutsideCauses
    since: IntArray
    counts: CountTable
    unseen: list[tuple[str, ...]]
    calm: npt.NDArray[np.bool_]
    still_days: IntArray


@dataclass(frozen=True, slots=True)
class BookFacts:
    """Facts of the book on each controller, all (sites,); see `Standing` and `Peers`."""

    peers: Peers
    trial_days: IntArray
    planting_days: IntArray
    log_age_days: IntArray
    is_resting: npt.NDArray[np.bool_]


def watch_answer(
    inputs: WatchInputs, log: DailyLog, facts: BookFacts, fit: FleetFit, settings: WatchSettings
) -> WatchAnswer:
    """State, cause, counts and visibility of every controller on the last day.

    Parameters
    ----------
    inputs, log
        What the filter takes, and what the log says of each day.
    facts
        Facts of the book.
    fit
        Fleet-level numbers.
    settings
        Fixed settings.
    """
    spread = spread_periods(inputs, fit, settings)
    run = watch_fleet(inputs, fit, settings, assumed_ran=runs_with_cuts(log, spread))
    common = common_standstill(log.scheduled, log.skipped, log.book_starts, log.is_known, facts.peers)
    outside = with_period_totals(
        outside_causes(
            np.where(common, UNSEEN, log.scheduled), log.skipped, log.book_starts, log.is_known & ~common
        ),
        log.period_scheduled,
        log.period_days,
        log.book_starts,
        log.is_known,
    )
    last = run.probability[-1]
    believed = calibrated(last)
    stuck_dry_since = run.since[:, CAUSES.index("stuck_dry")].astype(np.float64)
    causes = all_cause_probabilities(
        believed,
        overridden_share(stuck_dry_since, outside.program_since, outside.program_differs),
        outside.program_differs,
        outside.no_power,
    )
    in_period = ~np.isnan(spread)
    weight = np.where(inputs.seen, inputs.starts, np.where(in_period, _PERIOD_WEIGHT * inputs.starts, 0.0))
    nats = visibility(run.expected_rate, weight, inputs.seen | in_period, settings)
    score = fault_score(last)
    standing = _standing(inputs, log, facts, seen_days(inputs.seen | in_period))
    verdict = judge(
        score, causes, nats, standing, settings, flag_score=settings.flag_score_for(inputs.site_count)
    )
    since = _since(verdict, run, outside, inputs.day_count)
    return WatchAnswer(
        run=run,
        verdict=verdict,
        score=score,
        causes=causes,
        outside=outside,
        since=since,
        counts=_counts(inputs, log, spread, run, since),
        unseen=unseen_faults(nats, settings),
        calm=_calm(inputs, run, settings),
        still_days=common[-_USUAL_DAYS:].sum(axis=0),
    )


def _standing(inputs: WatchInputs, log: DailyLog, facts: BookFacts, seen: IntArray) -> Standing:
    """Facts beside the posterior."""
    blocked = np.where(log.ran >= 0, log.starts - log.ran, -1)
    recent = slice(-_OFF_SEASON_DAYS, None)
    offers = (log.book_starts[recent] > 0).any(axis=0)
    logged = ((log.scheduled[recent] > 0) | (log.period_days[recent] > 0)).any(axis=0)
    known = log.is_known[recent].any(axis=0)
    return Standing(
        trial_days=facts.trial_days,
        cycles=wet_dry_cycles(blocked, log.ran, inputs.first_day),
        planting_days=facts.planting_days,
        seen_days=seen,
        log_age_days=facts.log_age_days,
        is_off_season=np.asarray(known & ~offers & ~logged),
        is_resting=facts.is_resting,
    )


def _since(verdict: Verdict, run: WatchRun, outside: OutsideCauses, day_count: int) -> IntArray:
    """First day index of each site's cause; the last four weeks where there is none."""
    usual = max(0, day_count - _USUAL_DAYS)
    since = np.full(verdict.cause.size, usual, dtype=np.int64)
    inside = np.round(run.since).astype(np.int64)
    for number, cause in enumerate(CAUSES):
        since = np.where(verdict.cause == cause, inside[:, number], since)
    switched_off = inside[:, CAUSES.index("stuck_dry")]
    since = np.where(verdict.cause == "overridden", switched_off, since)
    since = np.where(verdict.cause == "no_power", outside.no_power_since, since)
    since = np.where(verdict.cause == "program_differs", outside.program_since, since)
    return np.clip(since, 0, day_count - 1)


def _counts(
    inputs: WatchInputs, log: DailyLog, spread: FloatArray, run: WatchRun, since: IntArray
) -> CountTable:
    """Starts and blocks since each site's day, counted periods included."""
    starts, blocked = seen_counts(inputs, log.blocked, spread)
    return count_table(starts, blocked, run.expected_rate, inputs.rain_mm, inputs.location, since)


def _calm(inputs: WatchInputs, run: WatchRun, settings: WatchSettings) -> npt.NDArray[np.bool_]:
    """Whether a fortnight with counts stayed below the score of watching."""
    recent = slice(-_SURE_STARTS_DAYS, None)
    quiet = (fault_score(run.probability[recent]) < settings.watch_score).all(axis=0)
    enough = inputs.seen[recent].sum(axis=0) >= 4
    return np.asarray(quiet & enough)


def ranked_causes(causes: FloatArray) -> list[tuple[str, float]]:
    """Causes of one controller with their probability, most likely first [1].

    Parameters
    ----------
    causes
        Probability of each cause in the order of ALL_CAUSES, (8,) [1].
    """
    order = np.argsort(-causes, kind="stable")
    return [(ALL_CAUSES[number], float(causes[number])) for number in order]
