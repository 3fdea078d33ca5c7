"""The row of the watch's table that was told the truth: a test by each garden's own water and true sensor.

It is given what no watch can have: the simulated water at the sensor's spot, at a good spot beside it and at
two spots that misread, hour by hour, and the true threshold. What is left is chance: when a fault began, how
strong it is, and how the sensor wavers near its threshold. It sums evidence from every possible onset (the
statistic of Shiryaev and Roberts: Shiryaev 1963, Theory Probab. Appl. 8:22-46) and is flagged at the score at
which healthy gardens spend the budget of false alarms, so that it shows how much the log holds at all.
"""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.settings import CAUSES, WatchSettings
from fleet.scoring.watch_counts import Alarms
from fleet.scoring.watch_faults import ERRATIC_SHARE, NO_FAULT, FleetTruth

FloatArray: TypeAlias = npt.NDArray[np.float64]

FALSE_BUDGET: Final = 0.02  # of healthy controllers, flagged at any time of a season
GOOD, WET, DRY = 1, 2, 3
"""Spots beside the sensor's own: where a good one would stand, and two that misread."""

_WAVER: Final = 0.15  # of ln(tension): noise of a start and hysteresis of the simulated sensors
_STUCK_SHARE: Final = 0.99
_LOGIT_PER_SD: Final = 1.702


def evidence_of_starts(
    blocked: npt.NDArray[np.bool_], log_tension: FloatArray, threshold_kpa: FloatArray
) -> FloatArray:
    """Log likelihood of what one start did, if healthy and under each cause, (1 + causes, sites).

    Parameters
    ----------
    blocked
        Whether the start was blocked, (sites,).
    log_tension
        True log tension at each spot, (spots, sites) [ln kPa].
    threshold_kpa
        True threshold, (sites,) [kPa].
    """
    past = (np.log(threshold_kpa) - log_tension) * (_LOGIT_PER_SD / _WAVER)
    share = 1.0 / (1.0 + np.exp(-np.clip(past, -30.0, 30.0)))
    flat = np.ones_like(threshold_kpa)
    by_cause = {
        "stuck_wet": flat * _STUCK_SHARE,
        "stuck_dry": flat * (1.0 - _STUCK_SHARE),
        "reads_wet": share[WET],
        "reads_dry": share[DRY],
        "erratic": flat * ERRATIC_SHARE,
    }
    shares = np.clip(np.stack([share[GOOD], *(by_cause[cause] for cause in CAUSES)]), 0.01, 0.99)
    return np.asarray(np.where(blocked, np.log(shares), np.log1p(-shares)))


def told_alarms(evidence: FloatArray, truth: FleetTruth) -> Alarms:
    """What a watch that was told the truth flags, at the budget of false alarms.

    Parameters
    ----------
    evidence
        Log likelihood of each day's log, if healthy and under each cause, (days, sites, 1 + causes).
    truth
        The faults.
    """
    ratio = evidence[..., 1:] - evidence[..., :1]
    since = np.full(ratio.shape, -np.inf)
    last = since[0]
    for day in range(ratio.shape[0]):
        last = since[day] = np.logaddexp(last, 0.0) + ratio[day]
    score = np.logaddexp.reduce(since, axis=-1)
    return Alarms(
        flagged=score > score_at_budget(score, truth),
        cause=since.argmax(axis=-1),
        left_open=np.repeat(
            (truth.visible_nats < WatchSettings().promise_nats)[:, None], len(CAUSES), axis=1
        ),
    )


def score_at_budget(score: FloatArray, truth: FleetTruth) -> float:
    """Score that a share FALSE_BUDGET of the healthy controllers passes at any time of the season [1].

    Parameters
    ----------
    score
        Log odds of a fault, (days, sites) [1].
    truth
        The faults.
    """
    worst = np.sort(score[:, truth.fault == NO_FAULT].max(axis=0))[::-1]
    return float(worst[min(round(FALSE_BUDGET * worst.size), worst.size - 1)])
