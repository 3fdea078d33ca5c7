"""Rows of the watch: one state a controller, with its evidence and the trace behind its page."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.answer import WatchAnswer, ranked_causes
from fleet.calc.watch.calibration import calibrated
from fleet.calc.watch.evidence import (
    Counts,
    contrary_sentence,
    evidence_sentence,
    outside_sentence,
    standstill_sentence,
    totals_sentence,
)
from fleet.calc.watch.settings import CAUSES
from fleet.models import WatchState
from fleet.selectors.watch.arrays import WatchBook

TRACE_DAYS = 60
_SHORTEST_WEEKS = 1.0


def state_rows(book: WatchBook, answer: WatchAnswer, *, as_of: date) -> list[WatchState]:
    """The state of every watched controller, not yet stored."""
    verdict, counts = answer.verdict, answer.counts
    at_stake = _litres_per_week(book, answer)
    return [
        WatchState(
            controller_id=pk,
            as_of=as_of,
            status=str(verdict.status[at]),
            cause=str(verdict.cause[at]),
            score=round(float(answer.score[at]), 3),
            probability=round(float(verdict.probability[at]), 4),
            cause_probability=_number(verdict.cause_probability[at]),
            since=_day(book, int(answer.since[at])) if verdict.cause[at] else None,
            observed_rate=_rate(float(counts.blocked[at]), int(counts.starts[at])),
            expected_rate=_rate(float(counts.expected[at]), int(counts.starts[at])),
            starts=int(counts.starts[at]),
            bypassed=int(counts.blocked[at]),
            litres_at_stake_per_week=round(float(at_stake[at]), 1) if verdict.cause[at] else None,
            evidence=_evidence(book, answer, at, as_of)[:600],
            unseen=",".join(answer.unseen[at])[:120],
            trace=_trace(book, answer, at),
        )
        for at, pk in enumerate(book.controller_ids.tolist())
    ]


def _litres_per_week(book: WatchBook, answer: WatchAnswer) -> npt.NDArray[np.float64]:
    """Water given too much, or kept back where it is needed, since the cause began, (sites,) [L/week]."""
    counts = answer.counts
    weeks = np.maximum((book.inputs.day_count - answer.since) / 7.0, _SHORTEST_WEEKS)
    wrong = np.abs(counts.blocked - counts.expected)
    silent = answer.verdict.cause == "no_power"
    due = np.array(
        [book.log.book_starts[first:, at].sum() for at, first in enumerate(answer.since)], dtype=np.float64
    )
    wrong = np.where(silent, due, wrong)
    return wrong / weeks * book.litres_per_start


def _evidence(book: WatchBook, answer: WatchAnswer, at: int, as_of: date) -> str:
    """Evidence in words; empty where nothing was counted."""
    cause = str(answer.verdict.cause[at])
    first = _day(book, int(answer.since[at]))
    counts = answer.counts
    sentence = _outside_evidence(answer, at, first, as_of)
    sentence = f"{sentence} {standstill_sentence(int(answer.still_days[at]))}".strip()
    if cause == "no_power" or counts.starts[at] == 0:
        return sentence
    told = Counts(
        since=first,
        starts=int(counts.starts[at]),
        blocked=int(counts.blocked[at]),
        expected=float(counts.expected[at]),
        expected_sd=float(counts.expected_sd[at]),
        rain_mm=float(counts.rain_mm[at]),
        neighbours=int(counts.neighbours[at]),
        neighbour_rate=float(counts.neighbour_rate[at]),
        neighbours_blocking=int(counts.neighbours_blocking[at]),
    )
    causes = ranked_causes(answer.causes[at]) if cause else []
    contrary = contrary_sentence(counts, at) if cause == "erratic" else ""
    return f"{sentence} {evidence_sentence(told, causes, end=as_of)} {contrary}".strip()


def _outside_evidence(answer: WatchAnswer, at: int, first: date, as_of: date) -> str:
    """What speaks for a cause outside the sensor; empty where that is not the cause."""
    cause = str(answer.verdict.cause[at])
    outside = answer.outside
    if cause == "program_differs" and outside.total_told[at] >= 0:
        return totals_sentence(
            first, told=int(outside.total_told[at]), by_book=int(outside.total_by_book[at])
        )
    if cause not in ("no_power", "program_differs"):
        return ""
    return outside_sentence(
        cause, first, by_skips=bool(outside.silent_by_skips[at]), days=(as_of - first).days
    )


def _trace(book: WatchBook, answer: WatchAnswer, at: int) -> dict[str, object]:
    """Daily columns of the last weeks for the page: counts, expectation, water, probability of each cause."""
    days = slice(-TRACE_DAYS, None)
    log, inputs, run = book.log, book.inputs, answer.run
    believed = calibrated(run.probability[days, at])
    landscape_et = inputs.reference_et_mm[days, at] * inputs.landscape_coefficient[at]
    columns: dict[str, object] = {
        "start": str(inputs.days[days][0]),
        "threshold_mm": round(float(inputs.threshold_depletion_mm[at]), 1),
        "expected_rate": _rounded(run.expected_rate[days, at], 3),
        "starts": log.starts[days, at].tolist(),
        "ran": log.ran[days, at].tolist(),
        "skipped": log.skipped[days, at].tolist(),
        "rain_mm": _rounded(inputs.rain_mm[days, at], 1),
        "landscape_et_mm": _rounded(landscape_et, 1),
        "depletion_mm": _rounded(run.depletion_mm[days, at], 1),
        "depletion_sd_mm": _rounded(run.depletion_sd_mm[days, at], 1),
        "healthy": _rounded(believed[:, 0], 3),
    }
    for number, cause in enumerate(CAUSES, start=1):
        columns[cause] = _rounded(believed[:, number], 3)
    if inputs.habits.known[at]:
        columns["use_on_book"] = round(float(np.exp(inputs.habits.use_mean[at])), 2)
        columns["threshold_on_book"] = round(float(np.exp(inputs.habits.threshold_mean[at])), 2)
    return columns


def _rounded(values: npt.NDArray[np.floating], digits: int) -> list[float | None]:
    """Numbers for JSON; NaN becomes null."""
    rounded = np.round(values.astype(np.float64), digits)
    return [None if value != value else value for value in rounded.tolist()]


def _rate(part: float, whole: int) -> float | None:
    """A share, None without a whole."""
    return round(part / whole, 4) if whole else None


def _number(value: float) -> float | None:
    """A number for the database; NaN becomes null."""
    return None if np.isnan(value) else round(float(value), 4)


def _day(book: WatchBook, index: int) -> date:
    """Calendar day of a day index."""
    first: date = book.inputs.days[0].astype(object)
    return first + timedelta(days=index)
