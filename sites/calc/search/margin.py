"""How much more than believed a zone is planned to need, since nobody measured all of it.

The sensor closes the loop for its own zone only. Every other zone runs open loop on the ratio of its rate,
uniformity and coefficient to those of the governing zone; what that ratio lacks is missing for ever. The
governing zone itself wants starts enough, should it use more than believed.
"""

from __future__ import annotations

import numpy as np

from sites.calc.search.settings import ProgramSettings
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import BoolArray, FloatArray, IntArray

# Standard deviations of logarithms [1], measured or typed, and assumed (own choice, of the size that audits
# of homes show; trade practice for coefficients).
RATE_SD = (0.03, 0.12)
UNIFORMITY_SD = (0.015, 0.04)
COEFFICIENT_SD = (0.06, 0.12)
# Half of the coefficient's variance is the garden's exposure, common to its zones: a ratio does not feel it.
_COMMON = 0.5


def own_variance(zones: ZoneTable) -> FloatArray:
    """Variance of the logarithm of rate, uniformity and the zone's part of the coefficient [1], (zones,).

    Parameters
    ----------
    zones
        Zones with their marks of what is assumed.
    """
    return (
        _variance(zones.precipitation_rate_assumed, RATE_SD)
        + _variance(zones.distribution_uniformity_assumed, UNIFORMITY_SD)
        + (1.0 - _COMMON) * _variance(zones.landscape_coefficient_assumed, COEFFICIENT_SD)
    )


def common_variance(zones: ZoneTable) -> FloatArray:
    """Variance of the logarithm of the coefficient that all zones of a garden share [1], (zones,).

    Parameters
    ----------
    zones
        Zones with their marks of what is assumed.
    """
    return _COMMON * _variance(zones.landscape_coefficient_assumed, COEFFICIENT_SD)


def ratio_spread(
    zones: ZoneTable,
    governing: IntArray,
    weight: FloatArray | None = None,
    error_variance: FloatArray | None = None,
) -> FloatArray:
    """Standard deviation of the logarithm of each zone's ratio to its governing zone [1], (zones,).

    Without a governing zone nothing cancels: the whole error of the zone itself counts, as it does for the
    governing zone. Of what the sensor's log told, the part b is believed: (1 - b)^2 P of the governing zone's
    own error is left, and b^2 (C + M) of what the log mixes in comes with it.

    Parameters
    ----------
    zones
        Zones with their marks of what is assumed.
    governing
        Position of the zone that governs each zone, -1 where none does, (zones,).
    weight, error_variance
        Part of the log of the zone's sensor that is believed, and the variance of what it says [1], (zones,);
        None: no logs.
    """
    none = np.zeros(len(zones))
    part, error = none if weight is None else weight, none if error_variance is None else error_variance
    own, common = own_variance(zones), common_variance(zones)
    at = np.maximum(governing, 0)
    of_governing = (1.0 - part) ** 2 * own[at] + part**2 * (common[at] + error)
    is_open_loop = (governing < 0) | (governing == np.arange(len(zones)))
    return np.sqrt(own + np.where(is_open_loop, common, of_governing))


def margins(
    zones: ZoneTable,
    governing: IntArray,
    factors: FloatArray,
    settings: ProgramSettings,
    *,
    weight: FloatArray | None = None,
    error_variance: FloatArray | None = None,
) -> FloatArray:
    """Factor on each zone's demand that is planned for [1], (zones,).

    exp(strength x spread) balances what is missing against what is too much; a visit that found the zone dry
    or soggy has its say in `factors`. On a governing zone the factor is on the starts that it is offered:
    they have to suffice where it uses more than believed, and the sensor blocks what it does not use.

    Parameters
    ----------
    zones
        Zones.
    governing
        Position of the zone that governs each zone, -1 where none does, (zones,).
    factors
        What visits taught [1], (zones,).
    settings
        Settings of the round.
    weight, error_variance
        What the sensors' logs taught, see `ratio_spread`, (zones,); None: nothing.
    """
    spread = ratio_spread(zones, governing, weight, error_variance)
    governs = governing == np.arange(len(zones))
    strength = np.where(governs, settings.opportunity_strength, settings.margin_strength)
    return np.exp(strength * spread) * np.where(governs, 1.0, factors)


def _variance(is_assumed: BoolArray, sd: tuple[float, float]) -> FloatArray:
    """Variance by whether the value is assumed."""
    return np.where(is_assumed, sd[1], sd[0]) ** 2
