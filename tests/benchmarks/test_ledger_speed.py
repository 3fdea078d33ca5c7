"""Speed and memory of the ledger at design size; prints figures, asserts no time."""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
import pytest

from fleet.calc.ledger.answer import LedgerInputs
from fleet.calc.ledger.sites import site_ledger
from fleet.scoring.ledger_worlds import DAYS, FIRST_DAY, PEOPLE, portfolio


@pytest.mark.benchmark
@pytest.mark.parametrize("sites", [1_000, 10_000])
def test_ledger_of_sites_over_36_months(sites: int) -> None:
    began = time.perf_counter()
    book = portfolio(PEOPLE, seed=1, sites=sites)
    made = time.perf_counter()
    end = FIRST_DAY + DAYS
    edges = np.arange(FIRST_DAY.astype("datetime64[M]"), end.astype("datetime64[M]") + 1).astype(
        "datetime64[D]"
    )
    start = np.concatenate([edges[:-1], [FIRST_DAY]])
    until = np.concatenate([edges[1:], [end]])

    ledger = site_ledger(LedgerInputs(book.periods, book.need, book.change_on, start, until))

    took = time.perf_counter() - made
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    sys.stdout.write(
        f"\nledger: {sites} sites x 36 months and the whole: {took:.1f} s, "
        f"peak {peak_mb:.0f} MB (inventing them: {made - began:.1f} s)\n"
    )
    assert np.isfinite(ledger.saved_l[:, -1]).mean() > 0.8
