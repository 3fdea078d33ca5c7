"""Money of a volume under a supplier's tiers."""

from __future__ import annotations

import numpy as np

from weather.calc.arrays import FloatArray


def tier_cost(volume_m3: FloatArray, tier_from_m3: FloatArray, price_per_m3: FloatArray) -> FloatArray:
    """Cost of volumes, each tier at its own price, in the tariff's currency [1], shape (n,).

    Parameters
    ----------
    volume_m3
        Volume of one month each [m3], shape (n,).
    tier_from_m3
        Where each tier begins, ascending, the first at 0 [m3], shape (tiers,).
    price_per_m3
        Price within each tier [1/m3], shape (tiers,).
    """
    if tier_from_m3.size == 0 or tier_from_m3[0] != 0 or np.any(np.diff(tier_from_m3) <= 0):
        raise ValueError("tiers ascend from 0")
    tops = np.append(tier_from_m3[1:], np.inf)
    inside = np.clip(volume_m3[:, None], tier_from_m3, tops) - tier_from_m3
    return np.asarray(inside @ price_per_m3)


def cost_over_need(
    used_m3: FloatArray, need_m3: FloatArray, tier_from_m3: FloatArray, price_per_m3: FloatArray
) -> FloatArray:
    """Cost of what was used beyond need, at the tiers it fell into [1]; negative where less was used.

    Parameters
    ----------
    used_m3
        Volume used in a month each [m3], shape (n,).
    need_m3
        Volume needed in the same months [m3], shape (n,).
    tier_from_m3
        Where each tier begins, ascending from 0 [m3], shape (tiers,).
    price_per_m3
        Price within each tier [1/m3], shape (tiers,).
    """
    used = tier_cost(used_m3, tier_from_m3, price_per_m3)
    return used - tier_cost(need_m3, tier_from_m3, price_per_m3)
