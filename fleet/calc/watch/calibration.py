"""From the filter's log odds to a probability that keeps its word, and what a stricter flag would cost.

The filter's odds are tempered and carry rates that share out the budget of false alarms, so they are no
probabilities. KNOTS map them: the share of site-days that truly had a fault, by classes of log odds, joined
by straight lines (a monotone histogram). They were counted on simulated fleets whose truth is known
(`manage.py score_watch` builds the like): seeds 1 to 4, two physics, three climates, 400 controllers each, a
first season of 180 days and the season after, one day a week from the 28th day on, a fault counted from the
day on which it began; faults that went on from the first season left out. The settings of the flag were
counted on the same fleets. A quarter of those sensors had a fault; a company with fewer has fewer true flags
at the same score, so its own findings stand beside on the manager's page.
"""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]

KNOTS: Final = (
    (-9.0, 0.003),
    (-6.5, 0.006),
    (-5.0, 0.017),
    (-3.5, 0.052),
    (-2.5, 0.168),
    (-1.5, 0.455),
    (-0.5, 0.715),
    (0.5, 0.826),
    (1.5, 0.893),
    (3.0, 0.948),
    (6.0, 0.982),
    (10.0, 0.995),
)
"""Log odds of the filter and the share of site-days with a fault there [log odds, 1]."""
FLAG_SCORES: Final = (-0.9, -0.5, -0.1, 0.3, 0.8, 1.3)
"""Settings of the flag that the office may choose from [log odds]."""
FOUND_PCT: Final = (96, 96, 94, 93, 92, 89)
"""Faults found of those that could be seen, at each setting, on the same fleets [%]."""
FALSE_PER_100: Final = (3.6, 2.6, 2.0, 1.5, 1.1, 0.9)
"""Healthy controllers ever flagged in a season of 180 days, at each setting, on the same fleets [1/100]."""
SEASON_DAYS: Final = 180


def calibrated(probability: npt.NDArray[np.floating]) -> FloatArray:
    """Probabilities of healthy and of each cause, (..., causes + 1) [1], so that they keep their word.

    Parameters
    ----------
    probability
        The filter's, healthy first, (..., causes + 1) [1].
    """
    raw = np.clip(probability.astype(np.float64), 1e-12, 1.0)
    fault = raw[..., 1:].sum(axis=-1)
    odds = np.log(fault) - np.log(raw[..., 0])
    score, share = np.array(KNOTS).T
    p = np.interp(odds, score, share)
    return np.concatenate([(1.0 - p)[..., None], raw[..., 1:] * (p / fault)[..., None]], axis=-1)


def new_flags_a_week(
    score: npt.NDArray[np.floating], flag_scores: tuple[float, ...], days: int
) -> FloatArray:
    """Controllers a week that first passed each setting in the last days, (settings,) [1/week].

    Parameters
    ----------
    score
        Log odds of any fault, (days, sites) [1].
    flag_scores
        Settings to try [log odds].
    days
        Length of the look back [d].
    """
    recent = score[-days:]
    before = score[:-days].max(axis=0, initial=-np.inf) if score.shape[0] > days else None
    weeks = max(recent.shape[0], 1) / 7.0
    found = []
    for limit in flag_scores:
        passed = (recent > limit).any(axis=0)
        if before is not None:
            passed &= before <= limit
        found.append(passed.sum() / weeks)
    return np.asarray(found, dtype=np.float64)


def setting_number(flag_score: float) -> int:
    """Position of the setting of `FLAG_SCORES` that is nearest [1].

    Parameters
    ----------
    flag_score
        Setting in use [log odds].
    """
    return int(np.argmin(np.abs(np.asarray(FLAG_SCORES) - flag_score)))
