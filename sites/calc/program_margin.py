"""How much more than believed a zone is planned to need, since nobody measured all of it.

The sensor closes the loop for its own zone only. Every other zone runs open loop on the ratio of its rate,
uniformity and coefficient to those of the governing zone; what that ratio lacks is missing for ever.
"""

from __future__ import annotations

import numpy as np

from sites.calc.program_settings import ProgramSettings
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import BoolArray, FloatArray, IntArray

# Standard deviations of logarithms [1], measured or typed, and assumed (own choice, of the size that audits
# of homes show; trade practice for coefficients).
RATE_SD = (0.03, 0.12)
UNIFORMITY_SD = (0.015, 0.04)
COEFFICIENT_SD = (0.06, 0.12)
# Half of the coefficient's variance is the garden's exposure, common to its zones: a ratio does not feel it.
_COMMON = 0.5


def ratio_spread(zones: ZoneTable, governing: IntArray) -> FloatArray:
    """Standard deviation of the logarithm of each zone's ratio to its governing zone [1], (zones,).

    Without a governing zone nothing cancels: the whole error of the zone itself counts.

    Parameters
    ----------
    zones
        Zones with their marks of what is assumed.
    governing
        Position of the zone that governs each zone, -1 where none does, (zones,).
    """
    own = (
        _variance(zones.precipitation_rate_assumed, RATE_SD)
        + _variance(zones.distribution_uniformity_assumed, UNIFORMITY_SD)
        + (1.0 - _COMMON) * _variance(zones.landscape_coefficient_assumed, COEFFICIENT_SD)
    )
    common = _COMMON * _variance(zones.landscape_coefficient_assumed, COEFFICIENT_SD)
    total = np.where(governing >= 0, own + own[np.maximum(governing, 0)], own + common)
    return np.sqrt(total)


def margins(
    zones: ZoneTable, governing: IntArray, factors: FloatArray, settings: ProgramSettings
) -> FloatArray:
    """Factor on each zone's demand [1], (zones,); never one on the governing zone.

    exp(strength x spread) balances what is missing against what is too much; a visit that found the zone dry
    or soggy has its say in `factors`.

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
    """
    spread = ratio_spread(zones, governing)
    margin = np.exp(settings.margin_strength * spread) * factors
    return np.where(governing == np.arange(len(zones)), 1.0, margin)


def _variance(is_assumed: BoolArray, sd: tuple[float, float]) -> FloatArray:
    """Variance by whether the value is assumed."""
    return np.where(is_assumed, sd[1], sd[0]) ** 2
