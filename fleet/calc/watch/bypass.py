"""How many of a day's starts a sensor lets run: an ordered logit on the depletion at the sensor.

A start runs when the depletion at the sensor is past the threshold depletion. The starts of one day share one
uncertain depletion, so their outcomes are not independent: after each run the sensor has seen a share of its
dose, and the next start faces a smaller depletion. "At least j starts ran" is therefore one event of one
latent number, which gives the joint probability of the whole day in closed form.

This is the model for one sensor of one controller: it speaks for every station of that controller, and a
start that was skipped for any other cause is not among the starts here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.floating]
Ints: TypeAlias = npt.NDArray[np.integer]

LOGISTIC_TO_NORMAL = 1.702
"""A logistic curve of scale sd/1.702 lies within 0.0095 of the normal one (Haley 1952; from memory) [1]."""

_FAR = 1.0e4  # in units of the logistic scale: a certain outcome


@dataclass(frozen=True, slots=True)
class RunLikelihood:
    """Probability of the observed count and its slopes against the depletion."""

    probability: Floats
    slope_per_mm: Floats
    curvature_per_mm2: Floats


def logistic(x: Floats) -> Floats:
    """Value of the logistic curve [1].

    Parameters
    ----------
    x
        Any real number, any shape [1].
    """
    with np.errstate(over="ignore"):
        result: Floats = 1.0 / (1.0 + np.exp(-x))
    return result


def run_likelihood(
    margin_mm: Floats, dose_seen_mm: Floats, scale_mm: Floats, *, ran: Ints, starts: Ints, noise_share: float
) -> RunLikelihood:
    """Probability [1] that just `ran` of `starts` starts ran, with its log slope [1/mm] and bend [1/mm2].

    With F(j) the probability that at least j starts ran, F(j) = logistic((margin - (j - 1) dose seen) /
    scale), the count has probability F(ran) - F(ran + 1); F(0) = 1 and F(starts + 1) = 0. A share of days is
    taken as noise, spread evenly over the possible counts.

    Parameters
    ----------
    margin_mm
        Depletion at the sensor less the threshold depletion, before the day's first start [mm].
    dose_seen_mm
        Part of one start's dose that the sensor has seen before the next start [mm].
    scale_mm
        Scale of the logistic curve: standard deviation / 1.702, above 0 [mm].
    ran
        Starts that ran, 0..starts, broadcastable [1].
    starts
        Starts offered (scheduled less skipped), at least 1, broadcastable [1].
    noise_share
        Share of days that tell nothing, 0..1 [1].
    """
    one_scale = 1.0 / scale_mm
    lower = (margin_mm - ran * dose_seen_mm) * one_scale
    upper = lower + dose_seen_mm * one_scale
    upper = upper + np.where(ran == 0, _FAR, 0.0).astype(margin_mm.dtype)
    lower = lower - np.where(ran == starts, _FAR, 0.0).astype(margin_mm.dtype)
    at_least = logistic(upper)
    more = logistic(lower)
    keep = margin_mm.dtype.type(1.0 - noise_share)
    even = (noise_share / (starts + 1.0)).astype(margin_mm.dtype)
    probability = keep * (at_least - more) + even
    at_least_slope = at_least * (1.0 - at_least)
    more_slope = more * (1.0 - more)
    per_probability = keep * one_scale / probability
    slope = per_probability * (at_least_slope - more_slope)
    bend = at_least_slope * (1.0 - 2.0 * at_least) - more_slope * (1.0 - 2.0 * more)
    curvature = per_probability * one_scale * bend - slope * slope
    return RunLikelihood(probability=probability, slope_per_mm=slope, curvature_per_mm2=curvature)


def expected_runs(margin_mm: Floats, dose_seen_mm: Floats, scale_mm: Floats, *, starts: Ints) -> Floats:
    """Number of starts that a sensor is expected to let run [1].

    Parameters
    ----------
    margin_mm
        Depletion at the sensor less the threshold depletion, before the day's first start [mm].
    dose_seen_mm
        Part of one start's dose that the sensor has seen before the next start [mm].
    scale_mm
        Scale of the logistic curve, above 0 [mm].
    starts
        Starts offered, broadcastable; 0 gives 0 [1].
    """
    most = int(np.max(starts, initial=0))
    x = margin_mm / scale_mm
    step = dose_seen_mm / scale_mm
    total: Floats = np.zeros(
        np.broadcast_shapes(x.shape, step.shape, np.shape(starts)), dtype=margin_mm.dtype
    )
    for j in range(most):
        total += logistic(x - j * step) * (starts > j)
    return total


def expected_bypass_rate(
    depletion_mm: Floats,
    depletion_sd_mm: Floats,
    threshold_depletion_mm: Floats,
    dose_seen_mm: Floats,
    *,
    starts: Ints,
) -> Floats:
    """Expected share of a day's starts that a good sensor blocks [1]; NaN where no start is offered.

    Parameters
    ----------
    depletion_mm
        Depletion at the sensor before the first start [mm].
    depletion_sd_mm
        Standard deviation of depletion and threshold together, above 0 [mm].
    threshold_depletion_mm
        Depletion at which the sensor stops blocking [mm].
    dose_seen_mm
        Part of one start's dose that the sensor has seen before the next start [mm].
    starts
        Starts offered [1].
    """
    runs = expected_runs(
        depletion_mm - threshold_depletion_mm,
        dose_seen_mm,
        depletion_sd_mm / LOGISTIC_TO_NORMAL,
        starts=starts,
    )
    rate: Floats = np.where(starts > 0, 1.0 - runs / np.maximum(starts, 1), np.nan)
    return rate
