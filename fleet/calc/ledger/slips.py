"""Volumes that a garden cannot have used: a unit or a decimal point slipped, or the meter is another's.

A slip of a unit that keeps its label multiplies what a meter tells by a hundred and more. No test by unit can
see it, but the need of the planted area can: such periods are left out and named, so that no baseline and no
saving is made of them. Slips by less than twenty-fold look like people and stay.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from fleet.calc.ledger.need import SiteNeed
from fleet.calc.ledger.periods import MeteredUse, UsePeriods, UseProblem, named_problems
from fleet.calc.ledger.winter import INDOOR_L_D
from weather.calc.arrays import BoolArray, FloatArray

TOO_MUCH: Final = "too_much_for_its_area"
TOO_LITTLE: Final = "too_little_for_a_unit"

MOST: Final = 20.0  # times the largest need of a month, beyond a house's own use. [judgement]
LEAST: Final = 1.0 / 200.0  # of the need; a garden that is off uses nothing, or days of it. [judgement]
_SHORT_D = 14.0  # a day's watering may serve two weeks
_ASKS = 0.3  # of the largest need of a month: below it little use says nothing
_WATERED = 0.05  # of the need: a garden that is watered at other times


def plausible_use(use: MeteredUse, need: SiteNeed, site_count: int) -> MeteredUse:
    """Periods without those that are beyond what their garden can have used, these named.

    Parameters
    ----------
    use
        One stream of periods a site, sorted by site and start [L].
    need
        Need of the sites by day [L].
    site_count
        Count of sites [1].
    """
    periods = use.periods
    if periods.site.size == 0:
        return use
    peak_l_d = peak_need_l_d(need, site_count)[periods.site]
    a_day = periods.volume_l / np.maximum(periods.days, _SHORT_D)
    house = np.where(periods.is_whole_house, 3.0 * INDOOR_L_D, 0.0)
    too_much = (peak_l_d > 0) & (a_day > MOST * (peak_l_d + house))
    needed = need.between(periods.site, periods.start, periods.end)
    too_little = _too_little(periods, needed, peak_l_d, too_much, site_count)
    problems = named_problems(TOO_MUCH, periods, too_much) + named_problems(TOO_LITTLE, periods, too_little)
    return MeteredUse(periods.where(~too_much & ~too_little), _sorted(use, problems))


def peak_need_l_d(need: SiteNeed, site_count: int) -> FloatArray:
    """Largest mean need of thirty days of each site [L/d], 0 where none is known, shape (sites,).

    Parameters
    ----------
    need
        Need of the sites by day [L].
    site_count
        Count of sites [1].
    """
    total = need.cumulative_l
    span = min(30, total.shape[0] - 1)
    if span < 1:
        return np.zeros(site_count)
    return np.asarray(np.max(total[span:] - total[:-span], axis=0, initial=0.0) / span)


def _too_little(
    periods: UsePeriods, needed: FloatArray, peak_l_d: FloatArray, out: BoolArray, site_count: int
) -> BoolArray:
    """Periods of next to nothing while the garden asked for water, at gardens that are watered at others."""
    asks = (periods.days >= _SHORT_D) & (needed > _ASKS * peak_l_d * periods.days) & ~out
    watered = asks & (periods.volume_l > _WATERED * needed)
    tiny = asks & (periods.volume_l > 0) & (periods.volume_l < LEAST * needed)
    tiny &= (np.bincount(periods.site, watered, site_count) >= 2)[periods.site]
    slipped = tiny.copy()
    for site in np.unique(periods.site[tiny]).tolist():
        # winter's bills between and after them came in the same unit
        mine = np.flatnonzero(periods.site == site)
        for at in np.flatnonzero(tiny[mine]).tolist():
            usual = np.flatnonzero(watered[mine[at:]])
            slipped[mine[at : at + int(usual[0]) if usual.size else None]] = True
    return slipped


def _sorted(use: MeteredUse, problems: list[UseProblem]) -> tuple[UseProblem, ...]:
    """Problems with those that were known before."""
    return tuple(sorted([*use.problems, *problems]))
