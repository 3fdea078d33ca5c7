"""Interval of a counted share."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from fleet.calc.proportion import wilson_interval

CHECKS = json.loads((Path(__file__).parents[1] / "data" / "statistics" / "stat_checks.json").read_text())


@pytest.mark.parametrize("case", CHECKS["binomial_ci"], ids=lambda case: f"{case['x']} of {case['n']}")
def test_the_score_interval_agrees_with_published_values(case: dict[str, float]) -> None:
    # Printed to four decimals or more; the source is named in tests/data/README.md.
    found = wilson_interval(int(case["x"]), int(case["n"]), confidence=case["conf"])

    np.testing.assert_allclose((found.low, found.high), case["wilson"], atol=6e-5)


def test_nothing_counted_gives_no_share() -> None:
    assert np.isnan(wilson_interval(0, 0).value)


def test_more_than_the_total_is_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and its total"):
        wilson_interval(3, 2)
