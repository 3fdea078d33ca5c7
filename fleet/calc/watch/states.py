"""What a controller is called: healthy is only said where a fault would have shown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.settings import CAUSES, WATCH_DAYS_KEPT, WatchSettings

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]

ALL_CAUSES = (*CAUSES, "program_differs", "overridden", "no_power")
TRIAL_DAYS = 14
TRIAL_CYCLES = 2
NEW_PLANTING_DAYS = 30
_FEWEST_SEEN_DAYS = 15
"""With fewer days seen in the window the log is short; with more it is the weather that shows nothing."""
_OUTSIDE_SURE = 0.9


@dataclass(frozen=True, slots=True)
class Standing:
    """Facts on each controller beside its posterior, all (sites,).

    Parameters
    ----------
    trial_days
        Days since the sensor was installed; large where no date is known [d].
    cycles
        Wet-dry cycles since then [1].
    planting_days
        Days since the governing zone was planted; large where no date is known [d].
    seen_days
        Days with a count in the window of visibility [d].
    log_age_days
        Days since the newest day of the log; large where there is none [d].
    is_off_season
        Whether the program offers no start and nothing is logged.
    is_resting
        Whether a person put the flag to rest.
    """

    trial_days: IntArray
    cycles: IntArray
    planting_days: IntArray
    seen_days: IntArray
    log_age_days: IntArray
    is_off_season: BoolArray
    is_resting: BoolArray


@dataclass(frozen=True, slots=True)
class Verdict:
    """State and cause of each controller, all (sites,).

    Parameters
    ----------
    status
        One of the states of the contract.
    cause
        Most likely cause, empty where nothing is suspected.
    probability
        Probability of not being in order [1].
    cause_probability
        Probability of that cause, NaN where there is none [1].
    """

    status: npt.NDArray[np.str_]
    cause: npt.NDArray[np.str_]
    probability: FloatArray
    cause_probability: FloatArray


NO_LOG_DAYS = 35
"""A log whose newest day is older than this is none."""


def all_cause_probabilities(
    probability: npt.NDArray[np.floating],
    overridden: FloatArray,
    program_differs: FloatArray,
    no_power: FloatArray,
) -> FloatArray:
    """Probability of each cause in the order of ALL_CAUSES, (sites, 8) [1].

    The causes outside the sensor stand beside the filter's: what they explain is not left for the sensor.

    Parameters
    ----------
    probability
        The filter's probabilities of healthy and of each fault, (sites, 6) [1].
    overridden
        Share of "never blocks" that is a sensor input switched off, (sites,) [1].
    program_differs, no_power
        Probabilities by their own tests, (sites,) [1].
    """
    left = (1.0 - no_power) * (1.0 - program_differs)
    inside = probability[:, 1:].astype(np.float64) * left[:, None]
    stuck_dry = CAUSES.index("stuck_dry")
    switched_off = inside[:, stuck_dry] * overridden
    inside[:, stuck_dry] -= switched_off
    return np.column_stack([inside, (1.0 - no_power) * program_differs, switched_off, no_power])


def judge(
    score: FloatArray,
    causes: FloatArray,
    visible_nats: FloatArray,
    standing: Standing,
    settings: WatchSettings,
    *,
    flag_score: float,
) -> Verdict:
    """State, cause and probabilities of each controller [1].

    Parameters
    ----------
    score
        Log odds of a fault of sensor, wire or place, (sites,) [1].
    causes
        Probability of each cause in the order of ALL_CAUSES, (sites, 8) [1].
    visible_nats
        Evidence each fault would have left, (sites, 5) [nat].
    standing
        Facts beside the posterior.
    settings
        Fixed settings.
    flag_score
        Log odds from which this fleet flags [1].
    """
    outside = np.maximum(
        causes[:, ALL_CAUSES.index("program_differs")], causes[:, ALL_CAUSES.index("no_power")]
    )
    flagged = (score > flag_score) | (outside > _OUTSIDE_SURE)
    watched = (score > settings.watch_score) | (outside > 0.5)
    stuck = visible_nats[:, [CAUSES.index("stuck_wet"), CAUSES.index("stuck_dry")]]
    blind = (stuck < settings.healthy_nats).all(axis=1)
    short = standing.seen_days < _FEWEST_SEEN_DAYS
    on_trial = (standing.trial_days < TRIAL_DAYS) & (standing.cycles < TRIAL_CYCLES)
    commissioning = on_trial | (standing.planting_days < NEW_PLANTING_DAYS)
    status = np.select(
        [
            standing.is_resting,
            standing.is_off_season,
            commissioning,
            standing.log_age_days > NO_LOG_DAYS,
            flagged,
            watched,
            blind & short,
            blind,
        ],
        [
            "resting",
            "off_season",
            "commissioning",
            "no_log",
            "flag",
            "watch",
            "too_little_data",
            "cannot_tell",
        ],
        default="healthy",
    ).astype(np.str_)
    best = causes.argmax(axis=1)
    named = np.isin(status, ["flag", "watch", "resting"])
    return Verdict(
        status=status,
        cause=np.where(named, np.array(ALL_CAUSES)[best], ""),
        probability=1.0 - np.clip(1.0 - causes.sum(axis=1), 0.0, 1.0),
        cause_probability=np.where(named, causes[np.arange(best.size), best], np.nan),
    )


def unseen_faults(visible_nats: FloatArray, settings: WatchSettings) -> list[tuple[str, ...]]:
    """Faults that the days seen could not have shown, for each site.

    Parameters
    ----------
    visible_nats
        Evidence each fault would have left, (sites, 5) [nat].
    settings
        Fixed settings.
    """
    hidden = visible_nats < settings.healthy_nats
    return [tuple(name for name, is_hidden in zip(CAUSES, row, strict=True) if is_hidden) for row in hidden]


def wet_dry_cycles(
    blocked: npt.NDArray[np.integer], ran: npt.NDArray[np.integer], from_day: IntArray
) -> IntArray:
    """Number of times that a blocked day was followed by one with a run, (sites,) [1].

    Parameters
    ----------
    blocked, ran
        Starts blocked and run, below 0 on days not seen, (days, sites) [1].
    from_day
        First day index that counts, (sites,) [1].
    """
    number = np.arange(blocked.shape[0])[:, None]
    wet = (blocked > 0) & (ran == 0) & (number >= from_day[None, :])
    dry = (ran > 0) & (number >= from_day[None, :])
    mark = np.where(wet, 1, np.where(dry, -1, 0))
    cycles = np.zeros(mark.shape[1], dtype=np.int64)
    state = np.zeros(mark.shape[1], dtype=np.int64)
    for today in mark:
        cycles += (state == 1) & (today == -1)
        state = np.where(today != 0, today, state)
    return cycles


def seen_days(seen: BoolArray) -> IntArray:
    """Days with a count in the window of visibility, (sites,) [d].

    Parameters
    ----------
    seen
        Days with a count of their own, (days, sites).
    """
    total: IntArray = seen[-WATCH_DAYS_KEPT:].sum(axis=0)
    return total
