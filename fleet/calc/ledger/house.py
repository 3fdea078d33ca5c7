"""What is the house's and what the garden's, of meters that feed both."""

from __future__ import annotations

import numpy as np

from fleet.calc.ledger.answer import LedgerInputs
from fleet.calc.ledger.baseline import BaselineFits
from fleet.calc.ledger.bills import lay_out, whole_months
from fleet.calc.ledger.split import PieceUse
from fleet.calc.ledger.winter import WinterBase, winter_base
from weather.calc.arrays import BoolArray, FloatArray

_PLAIN = 0.02  # of a use; narrower bounds say nothing to a reader
NORMAL_90 = 1.6449  # quantile of the normal distribution for a two-sided 90 %


def use_range_l(used_l: float, sd_l: float) -> tuple[float, float] | None:
    """Bounds of a use at 90 %, never below nothing [L]; None where they are as good as the use itself.

    Parameters
    ----------
    used_l
        Use [L].
    sd_l
        Its standard error [L].
    """
    half = NORMAL_90 * sd_l
    return (max(used_l - half, 0.0), used_l + half) if half > _PLAIN * abs(used_l) else None


def house_base(inputs: LedgerInputs, count: int) -> WinterBase:
    """Base of the sites whose only meter feeds the house too [L/d].

    Parameters
    ----------
    inputs
        Periods and need [L].
    count
        Count of sites [1].
    """
    months = whole_months(inputs.periods.where(inputs.periods.is_whole_house), count)
    bills = lay_out(months.where(months.days >= 7), inputs.need, count)
    return winter_base(bills.use_l_d, bills.need_l_d, bills.days)


def use_floor(fits: BaselineFits, verdicts: list[str]) -> FloatArray:
    """Use that does not follow need, as far as a usable baseline tells it [L/d].

    Parameters
    ----------
    fits
        Baselines [1].
    verdicts
        Why a baseline is missing, empty where it is not, (sites,).
    """
    usable = np.array([not verdict for verdict in verdicts])
    return np.where(usable, np.maximum(fits.base_l_d, 0.0), 0.0)


def garden_use(
    metered: PieceUse, house: WinterBase, day_variance: FloatArray, judged: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Use of the garden and its standard error: the split's, and that of the house's bounds [L].

    Parameters
    ----------
    metered
        Metered use by span [L].
    house
        Base of whole-house meters [L/d].
    day_variance
        Variance of a day's use, shape (sites,) [L2/d].
    judged
        Whether a garden has a baseline, shape (sites,) [1].
    """
    base = np.nan_to_num(house.base_l_d)[:, None]
    width = np.nan_to_num(house.high_l_d - house.low_l_d)[:, None]
    used = np.maximum(metered.used_l - base * metered.days, 0.0)
    split = np.where(judged, day_variance, 0.0)[:, None] * metered.bridge_d
    sd = np.sqrt(split + (width / 2.0 / NORMAL_90 * metered.days) ** 2)
    seen = metered.days > 0
    return np.where(seen, used, np.nan), np.where(seen, sd, np.nan)
