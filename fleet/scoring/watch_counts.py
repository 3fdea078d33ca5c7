"""Counts of what a method said of simulated fleets; the only place where alarms and truth meet."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.proportion import Share, wilson_interval
from fleet.calc.watch.inputs import WatchInputs
from fleet.calc.watch.settings import CAUSES, TOO_DRY, TOO_WET, WatchSettings
from fleet.scoring.watch_faults import NO_FAULT, FleetTruth

IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]

_DIRECTIONS: Final = (TOO_WET, TOO_DRY, ("erratic",))


@dataclass(frozen=True, slots=True)
class Alarms:
    """What a method said of each controller.

    Parameters
    ----------
    flagged
        Whether it is flagged on the day, (days, sites).
    cause
        Most likely cause on the day as a position in CAUSES, (days, sites) [1].
    left_open
        Whether the method says at the season's end that it suspects something or could not have seen this
        fault, (sites, causes).
    """

    flagged: BoolArray
    cause: IntArray
    left_open: BoolArray


@dataclass(slots=True)
class FaultScore:
    """Counts for one fault over fleets."""

    faults: int = 0
    found: int = 0
    visible: int = 0
    visible_found: int = 0
    unseen_found: int = 0
    unseen_open: int = 0
    cause_at_flag: int = 0
    cause_at_end: int = 0
    direction_at_flag: int = 0
    days: list[int] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)


@dataclass(slots=True)
class Scores:
    """Counts of one method on one kind of fleet.

    Parameters
    ----------
    by_fault
        Counts in the order of CAUSES.
    healthy, false_alarms
        Healthy controllers, and those of them ever flagged [1].
    carried, carried_found
        Faults that went on from the season before, and those of them ever flagged; in no other count [1].
    """

    by_fault: list[FaultScore] = field(default_factory=lambda: [FaultScore() for _ in CAUSES])
    healthy: int = 0
    false_alarms: int = 0
    carried: int = 0
    carried_found: int = 0

    @property
    def false_alarm_share(self) -> Share:
        """Share of healthy controllers ever flagged in the season."""
        return wilson_interval(self.false_alarms, self.healthy)


def count_alarms(scores: Scores, alarms: Alarms, inputs: WatchInputs, truth: FleetTruth) -> None:
    """Add a fleet's alarms to the counts.

    Parameters
    ----------
    scores
        Counts, changed in place.
    alarms
        What a method said.
    inputs
        The fleet's log, for the starts until the flag.
    truth
        The faults.
    """
    healthy = truth.fault == NO_FAULT
    scores.healthy += int(healthy.sum())
    scores.false_alarms += int(alarms.flagged[:, healthy].any(axis=0).sum())
    starts = np.cumsum(np.where(inputs.seen, inputs.starts, 0), axis=0)
    for site in np.flatnonzero(~healthy):
        fault, onset = int(truth.fault[site]), int(truth.onset[site])
        if onset == 0:
            scores.carried += 1
            scores.carried_found += bool(alarms.flagged[:, site].any())
            continue
        row = scores.by_fault[fault]
        is_visible = bool(truth.visible_nats[site] >= WatchSettings().promise_nats)
        row.faults += 1
        row.visible += is_visible
        after = np.flatnonzero(alarms.flagged[onset:, site])
        if not is_visible:
            row.unseen_found += bool(after.size)
            row.unseen_open += bool(not after.size and alarms.left_open[site, fault])
        if not after.size:
            continue
        day = onset + int(after[0])
        row.found += 1
        row.visible_found += is_visible
        row.days.append(day - onset)
        row.starts.append(int(starts[day, site] - (starts[onset - 1, site] if onset else 0)))
        row.cause_at_flag += int(alarms.cause[day, site]) == fault
        row.cause_at_end += int(alarms.cause[-1, site]) == fault
        row.direction_at_flag += _direction(int(alarms.cause[day, site])) == _direction(fault)


def pooled(parts: Iterable[Scores]) -> Scores:
    """Counts of one method over several kinds of fleets.

    Parameters
    ----------
    parts
        Counts of each kind.
    """
    whole = Scores()
    for part in parts:
        whole.healthy += part.healthy
        whole.false_alarms += part.false_alarms
        whole.carried += part.carried
        whole.carried_found += part.carried_found
        for into, row in zip(whole.by_fault, part.by_fault, strict=True):
            for one in fields(FaultScore):
                setattr(into, one.name, getattr(into, one.name) + getattr(row, one.name))
    return whole


def _direction(cause: int) -> int:
    """Too wet, too dry or random."""
    return next(number for number, names in enumerate(_DIRECTIONS) if CAUSES[cause] in names)
