"""What a book or a part of it saved together, with the error of that sum."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from fleet.calc.ledger.places import PlaceErrors
from fleet.calc.ledger.portfolio import Comparison, SitePieces
from weather.calc.arrays import FloatArray, IntArray

_NO_END: Final = 1e6  # degrees of freedom at which Student's t is the normal distribution


@dataclass(frozen=True, slots=True)
class Total:
    """A sum of savings with its standard error, arrays (groups,) [L], and the sites in it [1].

    `freedom` are the degrees of freedom of Student's t that the error of the sum is worth [1].
    """

    predicted_l: FloatArray
    used_l: FloatArray
    saved_l: FloatArray
    sd_l: FloatArray
    sites: IntArray
    freedom: FloatArray

    def half_width_l(self, confidence: float) -> FloatArray:
        """Half width of the interval of the sum [L], shape (groups,).

        Parameters
        ----------
        confidence
            Confidence of the interval, such as 0.90 [1].
        """
        return np.asarray(stats.t.ppf(0.5 + confidence / 2.0, self.freedom) * self.sd_l)


def portfolio_total(
    pieces: SitePieces,
    comparison: Comparison,
    sd_l: FloatArray,
    groups: FloatArray,
    *,
    drift: float,
    correlation: float,
    places: PlaceErrors | None = None,
    freedom: FloatArray | None = None,
) -> Total:
    """Savings of all changed sites together, for each group of pieces, with the error of the sum [L].

    Errors of single sites are independent once the comparison has taken out what they share; without a
    comparison they keep a common correlation, var = (1 - r) sum sd^2 + r (sum sd)^2. A sum of few gardens
    is no better known than their few bills tell: its degrees of freedom are Satterthwaite's (1946).

    Parameters
    ----------
    pieces
        Judged sites, (sites, pieces) [L].
    comparison
        Their comparison [1].
    sd_l
        Standard error of each site's predicted total in each group [L], shape (sites, groups).
    groups
        Which pieces belong to each period asked for, 0 or 1, shape (groups, pieces) [1].
    drift
        Relative standard deviation from year to year [1].
    correlation
        Common correlation of errors, used where no comparison is at hand [1].
    places
        What places do apart [1]; None: nothing.
    freedom
        Degrees of freedom of each site's standard error, shape (sites,) [1]; None: without end.
    """
    changed = ~pieces.is_comparison
    metered = pieces.is_metered[changed]
    predicted = np.where(metered, pieces.predicted_l[changed], 0.0)
    used = np.where(metered, pieces.used_l[changed], 0.0)
    moved = predicted * (1.0 + comparison.factor)
    by_site = moved @ groups.T  # (sites, groups)
    counts = metered @ groups.T > 0
    of_bills = np.where(counts, sd_l[changed] ** 2, 0.0)
    own = np.where(counts, of_bills + (drift * by_site) ** 2, 0.0)
    together = np.sum(predicted, axis=0)[None, :] * groups
    size = np.abs(together)
    expected = np.sum(size, axis=1)
    loose = np.sum(size * (comparison.predicted_l <= 0), axis=1)
    untold = np.divide(loose, expected, out=np.zeros_like(expected), where=expected > 0)
    shared = correlation * untold
    root = np.sqrt(own)
    variance = (1 - shared) * np.sum(own, axis=0) + shared * np.sum(root, axis=0) ** 2
    # how the sum's variance follows each garden's own, times that one
    pull = (1 - shared) * of_bills + shared * np.sum(root, axis=0) * np.divide(
        of_bills, root, out=np.zeros_like(root), where=root > 0
    )
    known = np.full(own.shape[:1], np.inf) if freedom is None else freedom[changed]
    loss = np.sum(pull**2 / known[:, None], axis=0)
    variance = variance + comparison.factor_sd(together) ** 2
    if places is not None:
        asked = np.where(pieces.is_metered & changed[:, None], pieces.predicted_l, 0.0)
        variance = variance + places.of_sum(asked, groups)
    predicted_sum, used_sum = np.sum(by_site, axis=0), np.sum(used, axis=0) @ groups.T
    sites = np.sum(metered @ groups.T > 0, axis=0).astype(np.int64)
    worth = np.divide(variance**2, loss, out=np.full(loss.shape, _NO_END), where=loss > 0)
    return Total(
        predicted_sum,
        used_sum,
        predicted_sum - used_sum,
        np.sqrt(variance),
        sites,
        np.minimum(worth, _NO_END),
    )
