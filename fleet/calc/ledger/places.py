"""What gardens under one weather record err alike: a part of the error that more gardens do not average away.

The record of a place is wrong by months, and every garden there misses its baseline by the same share. The
baselines show how much: in each month and place the mean miss of its gardens, beyond what their own spread
explains. After the change the same goes on. The comparison takes out what all places share; what is left of
a sum is each place's share of it beyond the place's share in the comparison.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fleet.calc.ledger.savings import MONTH_D
from weather.calc.arrays import BoolArray, FloatArray, IntArray

LEAST_PLACES = 3  # with fewer, nobody can tell what places do apart. [judgement]
LEAST_GARDENS = 3  # that a month of a place needs, for their spread
_MOST_RHO = 0.9


@dataclass(frozen=True, slots=True)
class PlaceMoves:
    """What a place moves all its gardens by, as a share of their expected use.

    Parameters
    ----------
    place
        Number of each garden's place, from 0, shape (sites,) [1].
    variance
        Variance of a month's share between places [1]; 0 where it cannot be told.
    rho
        Correlation of a place's shares from month to month [1].
    months
        Months of the baselines, which err by the same shares [1].
    """

    place: IntArray
    variance: float
    rho: float
    months: float

    def covariance(self, middle_d: FloatArray) -> FloatArray:
        """Covariance of a place's shares in pieces after the change, the baseline's own error included [1].

        Parameters
        ----------
        middle_d
            Middle of the pieces [d], shape (pieces,).
        """
        lag = np.abs(middle_d[:, None] - middle_d[None, :]) / MONTH_D
        near = np.asarray(self.rho**lag if self.rho > 0 else (lag == 0).astype(np.float64))
        # of months that err alike fewer count: n' = n (1 - rho) / (1 + rho)
        months = max(self.months * (1.0 - self.rho) / (1.0 + self.rho), 1.0)
        return np.asarray(self.variance * (near + 1.0 / months))


@dataclass(frozen=True, slots=True)
class _Cells:
    """Months of places: mean miss, its variance by the gardens' spread, expected use, (cells,)."""

    cell: IntArray  # of each bill
    place: IntArray
    month: IntArray
    missed: FloatArray
    noise: FloatArray
    expected: FloatArray
    gardens: IntArray


def place_moves(
    residual: FloatArray,
    predicted: FloatArray,
    days: FloatArray,
    month: IntArray,
    place: IntArray,
    *,
    parameters: int = 2,
) -> tuple[PlaceMoves, FloatArray]:
    """How places move their gardens, and the residuals without that [L/d], (sites, periods).

    Of a place's mean miss as much is taken for the place as its variance is of the whole (best linear
    prediction), so that a place of few gardens keeps what is theirs.

    Parameters
    ----------
    residual
        Residuals without what all gardens did, (sites, periods) [L/d].
    predicted
        Predicted use, (sites, periods) [L/d].
    days
        Days of the periods, 0 where there is none, (sites, periods) [d].
    month
        Number of each period's month, (sites, periods) [1].
    place
        Number of each garden's place, from 0, shape (sites,) [1].
    parameters
        Fitted parameters of a baseline, which bend residuals towards nothing [1].
    """
    seen = days > 0
    bills = float(np.mean(np.sum(seen, axis=1)[np.any(seen, axis=1)])) if seen.any() else 0.0
    nothing = PlaceMoves(place, 0.0, 0.0, max(bills, 1.0))
    if np.unique(place[np.any(seen, axis=1)]).size < LEAST_PLACES or bills <= parameters:
        return nothing, residual
    cells = _cells(residual[seen], (days * predicted)[seen], days[seen], month[seen], _spread(place, seen))
    told = (cells.gardens >= LEAST_GARDENS) & (cells.expected > 0)
    weight = np.where(told, cells.expected, 0.0)
    if weight.sum() <= 0:
        return nothing, residual
    by_place = np.bincount(cells.place, weight)
    taken_out = float(np.sum((by_place / by_place.sum()) ** 2))  # with what all places share
    left = (1.0 - taken_out) * (1.0 - parameters / bills)
    beyond = np.where(told, cells.missed**2 - cells.noise, 0.0)
    variance = max(float(np.sum(weight * beyond) / weight.sum()) / max(left, 0.1), 0.0)
    whole = variance + cells.noise
    share = np.divide(variance, whole, out=np.zeros_like(whole), where=told & (whole > 0))
    own = residual.copy()
    own[seen] -= (share * cells.missed)[cells.cell] * predicted[seen]
    return PlaceMoves(place, variance, _rho(cells, told, variance * left), bills), own


def _spread(place: IntArray, seen: BoolArray) -> IntArray:
    """Place of each bill."""
    return np.asarray(np.broadcast_to(place[:, None], seen.shape)[seen])


def _cells(
    residual: FloatArray, expected: FloatArray, days: FloatArray, month: IntArray, place: IntArray
) -> _Cells:
    """Sums over the bills of each month and place."""
    keys, cell = np.unique(np.stack([place, month]), axis=1, return_inverse=True)
    cell = cell.reshape(-1)
    size = keys.shape[1]
    total = np.bincount(cell, expected, size).astype(np.float64)
    missed = np.divide(np.bincount(cell, days * residual, size), total, out=np.zeros(size), where=total > 0)
    apart = days * residual - missed[cell] * expected
    gardens = np.bincount(cell, minlength=size)
    squares = np.bincount(cell, apart**2, size) * gardens / np.maximum(gardens - 1, 1)
    noise = np.divide(squares, total**2, out=np.zeros(size), where=total > 0)
    return _Cells(cell, keys[0], keys[1], missed, noise, total, gardens)


def _rho(cells: _Cells, told: BoolArray, variance: float) -> float:
    """Correlation of a place's misses in neighbouring months [1], never below nothing."""
    follows = (np.diff(cells.place) == 0) & (np.diff(cells.month) == 1) & told[1:] & told[:-1]
    weight = np.sqrt(np.maximum(cells.expected[1:] * cells.expected[:-1], 0.0)) * follows
    if weight.sum() <= 0 or variance <= 0:
        return 0.0
    product = float(np.sum(weight * cells.missed[1:] * cells.missed[:-1]) / weight.sum())
    return float(np.clip(product / variance, 0.0, _MOST_RHO))


def group_variance(sizes: FloatArray, covariance: FloatArray, groups: FloatArray) -> FloatArray:
    """Variance of each garden's sums over groups of pieces, never below nothing, shape (sites, groups).

    Parameters
    ----------
    sizes
        What a share of one moves in each piece, shape (sites, pieces) [L].
    covariance
        Covariance of the shares between the pieces, shape (pieces, pieces) [1].
    groups
        Which pieces belong to each group, 0 or 1, shape (groups, pieces) [1].
    """
    found = np.zeros((sizes.shape[0], groups.shape[0]))
    for place, group in enumerate(groups):
        # most groups are a month: a whole product for each of them would take seconds
        mine = np.flatnonzero(group)
        some = sizes[:, mine]
        found[:, place] = np.sum((some @ covariance[np.ix_(mine, mine)]) * some, axis=1)
    return np.maximum(found, 0.0)


@dataclass(frozen=True, slots=True)
class PlaceErrors:
    """How far places lead sums of expected uses astray once the comparison is taken out.

    Parameters
    ----------
    place
        Number of each garden's place, from 0, shape (sites,) [1].
    covariance
        Covariance of a place's shares between the pieces [1], shape (pieces, pieces).
    comparison_share
        Each place's share in the comparison's expected use [1], shape (places,).
    is_told
        Pieces that the comparison tells [1], shape (pieces,); others keep what all share in their own errors.
    """

    place: IntArray
    covariance: FloatArray
    comparison_share: FloatArray
    is_told: BoolArray

    def of_sites(self, sites: IntArray) -> PlaceErrors:
        """The same for some of the sites.

        Parameters
        ----------
        sites
            Places of the sites in the arrays [1].
        """
        return replace(self, place=self.place[sites])

    def of_sum(self, asked_l: FloatArray, groups: FloatArray) -> FloatArray:
        """Variance of the sum of some gardens' expected uses [L2], shape (groups,).

        Parameters
        ----------
        asked_l
            Expected use of each garden, 0 where it does not count, shape (sites, pieces) [L].
        groups
            Which pieces belong to each period asked for, 0 or 1, shape (groups, pieces) [1].
        """
        by_place = np.zeros((self.comparison_share.size, asked_l.shape[1]))
        np.add.at(by_place, self.place, np.where(self.is_told, asked_l, 0.0))
        beyond = by_place - self.comparison_share[:, None] * by_place.sum(axis=0)
        sizes = groups[:, None, :] * beyond[None, :, :]  # (groups, places, pieces)
        return np.asarray(np.sum((sizes @ self.covariance) * sizes, axis=(1, 2)))

    def of_gardens(self, asked_l: FloatArray, groups: FloatArray) -> FloatArray:
        """Variance of each garden's expected use [L2], shape (sites, groups).

        Parameters
        ----------
        asked_l
            Expected use of each garden, shape (sites, pieces) [L].
        groups
            Which pieces belong to each period asked for, 0 or 1, shape (groups, pieces) [1].
        """
        share = self.comparison_share
        apart = 1.0 - 2.0 * share[self.place] + float(np.sum(share**2))
        told = np.where(self.is_told, asked_l, 0.0)
        return group_variance(told, self.covariance, groups) * apart[:, None]


def place_errors(
    moves: PlaceMoves, *, comparison_l: FloatArray, is_told: BoolArray, middle_d: FloatArray
) -> PlaceErrors:
    """What places do to sums over pieces after the change.

    Parameters
    ----------
    moves
        What places did to the baselines [1].
    comparison_l
        Expected use of the comparison gardens, 0 for others, shape (sites,) [L].
    is_told
        Pieces that the comparison tells [1], shape (pieces,).
    middle_d
        Middle of the pieces [d], shape (pieces,).
    """
    by_place = np.bincount(moves.place, comparison_l, int(moves.place.max(initial=0)) + 1)
    share = by_place / max(float(by_place.sum()), 1e-9)
    return PlaceErrors(moves.place, moves.covariance(middle_d), share, is_told)
