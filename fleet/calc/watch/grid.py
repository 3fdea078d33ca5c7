"""The nodes of site offsets: what the book cannot know about one garden, learned from its own log.

Three offsets: `use`, the log error of water use over dose (landscape coefficient, precipitation rate and
uniformity together); `threshold`, the log error of the depletion at the threshold (soil curve, root depth and
the sensor's own spread together); and `level`, the log error that use and dose share, which only rain shows.
Without the last a garden whose runs are weaker than the book says must lose more by ET, too, which a wet
spring disproves; its dry summer then looks like a sensor that has changed. Each node is one triple.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.stats import norm, qmc

from fleet.calc.watch.inputs import WatchInputs
from fleet.calc.watch.settings import FleetFit

SingleArray: TypeAlias = npt.NDArray[np.float32]
FloatArray: TypeAlias = npt.NDArray[np.float64]

OFFSET_NODES = 80
_AXES = 3
_STRETCH = 1.3  # of the sampled normal against the prior, so that far gardens have nodes too

_LEAST_THRESHOLD_SHARE = (
    0.02  # of available water: a threshold below it could not be told from field capacity
)
_MOST_THRESHOLD_SHARE = 0.75  # above it a garden would stand dry for good and still count as healthy


@dataclass(frozen=True, slots=True)
class Grid:
    """Nodes in standard units and their prior weights, all (nodes,) [1]."""

    use: FloatArray
    threshold: FloatArray
    level: FloatArray
    weight: FloatArray


@dataclass(frozen=True, slots=True)
class SiteConstants:
    """What the day step needs of each site and node, in single precision.

    Parameters
    ----------
    coefficient
        Landscape coefficient with half of the use offset, (sites, nodes) [1].
    dose_factor
        Factor on the dose with the other half, (sites, nodes) [1].
    threshold_mm
        Depletion at the threshold, (sites, nodes) [mm].
    available_mm
        Total available water, (sites, 1) [mm].
    floor_mm
        Lowest depletion, below zero by the water held above field capacity, (sites, 1) [mm].
    decision_variance_mm2
        Variance of the sensor's decision beside that of the depletion, (sites, 1) [mm2].
    prior_weight
        Prior weight of the nodes, (nodes,) [1].
    """

    coefficient: SingleArray
    dose_factor: SingleArray
    threshold_mm: SingleArray
    available_mm: SingleArray
    floor_mm: SingleArray
    decision_variance_mm2: SingleArray
    prior_weight: SingleArray


def offset_grid(
    use_nodes: tuple[float, ...], threshold_nodes: tuple[float, ...], level_nodes: tuple[float, ...] = (0.0,)
) -> Grid:
    """All combinations of the nodes with Gaussian weights, each axis rescaled to unit variance [1].

    Parameters
    ----------
    use_nodes, threshold_nodes, level_nodes
        Nodes in standard units [1].
    """
    use, use_weight = _unit_axis(use_nodes)
    threshold, threshold_weight = _unit_axis(threshold_nodes)
    level, level_weight = _unit_axis(level_nodes)
    axes = np.meshgrid(use, threshold, level, indexing="ij")
    weight = use_weight[:, None, None] * threshold_weight[None, :, None] * level_weight
    return Grid(use=axes[0].ravel(), threshold=axes[1].ravel(), level=axes[2].ravel(), weight=weight.ravel())


def offset_points(nodes: int) -> Grid:
    """Evenly filling nodes under a standard normal prior of each axis, mean 0 and variance 1 [1].

    Parameters
    ----------
    nodes
        Number of nodes [1].
    """
    share = qmc.Halton(_AXES, scramble=False).random(nodes + 1)[1:]  # the first is 0: no normal value
    drawn = norm.ppf(share)
    z = _STRETCH * drawn
    weight = np.exp((norm.logpdf(z) - norm.logpdf(drawn)).sum(axis=1))
    weight /= weight.sum()
    z = z - weight @ z
    z /= np.sqrt(weight @ z**2)
    return Grid(use=z[:, 0], threshold=z[:, 1], level=z[:, 2], weight=weight)


def site_constants(inputs: WatchInputs, fit: FleetFit, grid: Grid) -> SiteConstants:
    """Constants of each site and node [mm, 1].

    Parameters
    ----------
    inputs
        The sites.
    fit
        Fleet-level numbers and group means of the offsets.
    grid
        Nodes of the offsets.
    """
    use, threshold = site_offsets(inputs, fit, grid)
    low = _LEAST_THRESHOLD_SHARE * inputs.available_water_mm
    high = _MOST_THRESHOLD_SHARE * inputs.available_water_mm
    threshold_mm = np.clip(
        inputs.threshold_depletion_mm[:, None] * np.exp(threshold), low[:, None], high[:, None]
    )
    level = fit.level_sd * grid.level
    spread_mm = fit.tension_noise * inputs.tension_slope_mm
    return SiteConstants(
        coefficient=_single(
            inputs.landscape_coefficient[:, None] * np.exp((1.0 - fit.use_on_dose) * use + level)
        ),
        dose_factor=_single(np.exp(level - fit.use_on_dose * use)),
        threshold_mm=_single(threshold_mm),
        available_mm=_single(inputs.available_water_mm[:, None]),
        floor_mm=_single(-(fit.excess_share * inputs.excess_water_mm)[:, None]),
        decision_variance_mm2=_single((fit.noise_mm**2 + spread_mm**2)[:, None]),
        prior_weight=_single(grid.weight),
    )


def site_offsets(inputs: WatchInputs, fit: FleetFit, grid: Grid) -> tuple[FloatArray, FloatArray]:
    """Use and threshold offsets of every site and node, both (sites, nodes) [1].

    Around the garden's own habit where an earlier season taught it, else around its group's mean.

    Parameters
    ----------
    inputs
        The sites.
    fit
        Means and spreads of the offsets by group.
    grid
        Nodes in standard units.
    """
    habits, use, threshold = inputs.habits, inputs.use_group, inputs.soil_group
    use_mean = _known_or(habits.use_mean, fit.use_mean[use])
    threshold_mean = _known_or(habits.threshold_mean, fit.threshold_mean[threshold])
    use_sd = np.fmin(habits.use_sd, fit.use_sd[use])
    threshold_sd = np.fmin(habits.threshold_sd, fit.threshold_sd[threshold])
    return (
        use_mean[:, None] + use_sd[:, None] * grid.use,
        threshold_mean[:, None] + threshold_sd[:, None] * grid.threshold,
    )


def _known_or(habit: FloatArray, group: FloatArray) -> FloatArray:
    """The garden's own habit where it is known, else its group's mean."""
    return np.where(np.isfinite(habit), habit, group)


def _unit_axis(nodes: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of one axis with mean 0 and variance 1."""
    z = np.asarray(nodes, dtype=np.float64)
    if z.size == 1:
        return np.zeros(1), np.ones(1)
    weight = np.exp(-0.5 * z**2)
    weight /= weight.sum()
    z = z - np.sum(weight * z)
    return z / np.sqrt(np.sum(weight * z**2)), weight


def _single(values: FloatArray) -> SingleArray:
    """The values in single precision."""
    return np.ascontiguousarray(values, dtype=np.float32)
