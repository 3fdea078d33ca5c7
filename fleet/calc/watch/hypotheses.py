"""Weights of the hypotheses on each sensor, and how a day's evidence moves them.

Two kinds. Hypotheses with water of their own (healthy; reads wet and reads dry in several branches by the
day on which they would have begun) hold a joint weight for each node of the site offsets. Hypotheses without
water (the empirical twin, stuck wet, stuck dry, erratic) hold one weight a site. All weights of a site add
up to one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.flat import flat_columns, flat_faults
from fleet.calc.watch.settings import CAUSES, Misreading, WatchSettings

SingleArray: TypeAlias = npt.NDArray[np.float32]
FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

HEALTHY = 0
TWIN = 0
_LEAST_WEIGHT = np.float32(1e-30)


@dataclass(slots=True)
class Weights:
    """Weights of all hypotheses.

    Parameters
    ----------
    joint
        Hypotheses with water by node, (1 + 2 slots, sites, nodes) [1].
    flat
        Hypotheses without water: twin, then `flat_faults`, (sites, 1 + flat faults) [1].
    flat_since
        Mean day index on which each of them began, (sites, 1 + flat faults) [1].
    branch_since
        Day index on which each branch began, (1 + 2 slots, sites) [1].
    """

    joint: SingleArray
    flat: FloatArray
    flat_since: FloatArray
    branch_since: npt.NDArray[np.int32]


def starting_weights(prior_weight: SingleArray, sites: int, settings: WatchSettings) -> Weights:
    """Everything healthy, the twin with its prior share.

    Parameters
    ----------
    prior_weight
        Prior weight of the nodes, (nodes,) [1].
    sites
        Number of sites [1].
    settings
        Fixed settings.
    """
    branches = 1 + 2 * settings.slots
    joint = np.full((branches, sites, prior_weight.size), _LEAST_WEIGHT, dtype=np.float32)
    flat = np.zeros((sites, 1 + len(flat_faults(settings))))
    twin = settings.twin_weight / (1.0 + settings.twin_weight)
    flat[:, TWIN] = twin
    joint[HEALTHY] = (1.0 - twin) * prior_weight
    return Weights(
        joint=joint,
        flat=flat,
        flat_since=np.zeros(flat.shape),
        branch_since=np.zeros((branches, sites), dtype=np.int32),
    )


def branch_factors(settings: WatchSettings) -> tuple[SingleArray, SingleArray, SingleArray]:
    """Factors on dose, ET and rain of healthy and of every branch, each (1 + 2 slots,) [1].

    Branches stand in the order healthy, wet, dry, wet, dry, so that the first few are in use early on.

    Parameters
    ----------
    settings
        Fixed settings.
    """
    kinds = [Misreading(1.0, 1.0, 1.0)] + [settings.reads_wet, settings.reads_dry] * settings.slots
    dose = np.array([kind.dose for kind in kinds], dtype=np.float32)
    et = np.array([kind.et for kind in kinds], dtype=np.float32)
    rain = np.array([kind.rain for kind in kinds], dtype=np.float32)
    return dose, et, rain


def healthy_probability(weights: Weights) -> FloatArray:
    """Probability that the sensor is healthy, twin included, (sites,) [1].

    Parameters
    ----------
    weights
        Weights of all hypotheses.
    """
    total: FloatArray = weights.joint[HEALTHY].sum(axis=-1, dtype=np.float64) + weights.flat[:, TWIN]
    return total


def let_faults_begin(
    weights: Weights, day: int, is_on: npt.NDArray[np.bool_], settings: WatchSettings
) -> None:
    """Move a day's share from healthy to each fault without water, and mix healthy with its twin; in place.

    Parameters
    ----------
    weights
        Changed in place.
    day
        Index of the day.
    is_on
        Sites whose log counts already, (sites,).
    settings
        Rates.
    """
    physical = weights.joint[HEALTHY].sum(axis=-1, dtype=np.float64)
    twin = weights.flat[:, TWIN]
    healthy = physical + twin
    wanted = settings.twin_weight / (1.0 + settings.twin_weight)
    new_twin = twin + settings.twin_mixing * (wanted * healthy - twin)
    scale = (healthy - new_twin) / np.maximum(physical, 1e-30)
    weights.joint[HEALTHY] *= scale[:, None].astype(np.float32)
    weights.flat[:, TWIN] = new_twin
    rate = np.array([fault.rate for fault in flat_faults(settings)])
    arriving = np.where(is_on, healthy, 0.0)[:, None] * rate
    staying = weights.flat[:, 1:]
    arrived = staying + arriving
    since = (staying * weights.flat_since[:, 1:] + arriving * day) / np.maximum(arrived, 1e-300)
    weights.flat_since[:, 1:] = since
    weights.flat[:, 1:] = arrived


def spawn_branches(
    weights: Weights, day: int, is_on: npt.NDArray[np.bool_], settings: WatchSettings, active: int
) -> IntArray:
    """Start a "misreading began now" branch of both kinds in each site's lightest slot; in place.

    Parameters
    ----------
    weights
        Changed in place.
    day
        Index of the day.
    is_on
        Sites whose log counts already, (sites,).
    settings
        Rates and slots.
    active
        Number of branches in use, healthy included [1].

    Returns
    -------
    IntArray
        The slots taken, (2, sites) [1]; the caller copies the healthy water into them.
    """
    site = np.arange(weights.flat.shape[0])
    weight = weights.joint.sum(axis=-1)
    scale = healthy_probability(weights) / np.maximum(weight[HEALTHY], 1e-30)
    share = settings.spawn_days * np.where(is_on, scale, 0.0)
    slots = np.empty((2, site.size), dtype=np.int64)
    for kind, rate in enumerate((settings.reads_wet_rate, settings.reads_dry_rate)):
        arriving = (rate * share)[:, None].astype(np.float32)
        fresh = np.maximum(weights.joint[HEALTHY] * arriving, _LEAST_WEIGHT)
        taken = 1 + kind + 2 * np.argmin(weight[1 + kind : active : 2], axis=0)
        weights.joint[taken, site] = fresh
        weights.branch_since[taken, site] = day
        slots[kind] = taken
    return slots


def weigh_joint(
    joint: SingleArray, log_likelihood: SingleArray, exponent: SingleArray, temper: float
) -> SingleArray:
    """Joint weights after the evidence, not yet normalised, (hypotheses, n, nodes) [1].

    Within a hypothesis the nodes learn at the tempered likelihood; between hypotheses it counts only with the
    guard's exponent. With the guard inside the learning the offsets would never settle, and nothing would
    ever be flagged.

    Parameters
    ----------
    joint
        Weights before, (hypotheses, n, nodes) [1].
    log_likelihood
        Log probability of the count, same shape [1].
    exponent
        Guard's share of the evidence, (n,) [1].
    temper
        Exponent on the likelihood [1].
    """
    likelihood = np.exp(np.float32(temper) * log_likelihood)
    after: SingleArray = joint * likelihood
    if np.all(exponent >= 1.0 - 1e-6):
        return after
    mean = after.sum(axis=-1) / np.maximum(joint.sum(axis=-1), _LEAST_WEIGHT)
    after *= (mean ** (exponent[None, :] - 1.0))[..., None]
    return after


def normalise(weights: Weights, rows: IntArray) -> None:
    """Make the weights of the given sites add up to one; in place.

    Parameters
    ----------
    weights
        Changed in place.
    rows
        Sites whose weights changed, (n,) [1].
    """
    joint = weights.joint[:, rows]
    total = joint.sum(axis=(0, 2), dtype=np.float64) + weights.flat[rows].sum(axis=-1)
    joint /= total[None, :, None].astype(np.float32)
    np.maximum(joint, _LEAST_WEIGHT, out=joint)
    weights.joint[:, rows] = joint
    weights.flat[rows] /= total[:, None]


def cause_probabilities(weights: Weights, settings: WatchSettings) -> SingleArray:
    """Probability of healthy and of each cause in the order of CAUSES, (sites, 1 + causes) [1].

    Parameters
    ----------
    weights
        Weights of all hypotheses.
    settings
        Those by which the weights were started.
    """
    branch = weights.joint.sum(axis=-1, dtype=np.float64)
    by_cause = {"reads_wet": branch[1::2].sum(axis=0), "reads_dry": branch[2::2].sum(axis=0)}
    for cause, columns in flat_columns(settings).items():
        by_cause[cause] = weights.flat[:, columns].sum(axis=-1)
    found = np.stack(
        [branch[HEALTHY] + weights.flat[:, TWIN], *(by_cause[cause] for cause in CAUSES)], axis=-1
    )
    return np.asarray(found / found.sum(axis=-1, keepdims=True), dtype=np.float32)


def cause_since(weights: Weights, settings: WatchSettings) -> SingleArray:
    """Day index on which each cause would have begun, in the order of CAUSES, (sites, causes) [1].

    Parameters
    ----------
    weights
        Weights of all hypotheses.
    settings
        Those by which the weights were started.
    """
    site = np.arange(weights.flat.shape[0])
    branch = weights.joint.sum(axis=-1)
    wet = 1 + 2 * np.argmax(branch[1::2], axis=0)
    dry = 2 + 2 * np.argmax(branch[2::2], axis=0)
    begun = {
        "reads_wet": weights.branch_since[wet, site].astype(np.float64),
        "reads_dry": weights.branch_since[dry, site].astype(np.float64),
    }
    for cause, columns in flat_columns(settings).items():
        weight = weights.flat[:, columns]
        share = weight / np.maximum(weight.sum(axis=-1, keepdims=True), 1e-300)
        begun[cause] = (share * weights.flat_since[:, columns]).sum(axis=-1)
    return np.stack([begun[cause] for cause in CAUSES], axis=-1).astype(np.float32)
