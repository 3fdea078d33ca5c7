"""What a sensor's log teaches of its zone: the right part of it, and nothing where it says nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc.search.learned import SensorLog, learned_from_logs, nothing_learned
from sites.calc.search.margin import common_variance, own_variance, ratio_spread
from sites.calc.search.settings import ProgramSettings
from sites.calc.zone_table import ZoneTable
from tests.sites.search.cases import garden

SETTINGS = replace(ProgramSettings(), run_loss_mm=0.0)
GOVERNING = np.array([0])
THRESHOLD = np.array([8.0])


def zones() -> ZoneTable:
    return garden(plants=("cool_turf",) * 2, heads=("rotor",) * 2).zones


def log(
    *, net: float, use: float = 250.0, rain: float = 0.0, ran: float = 30, offered: float = 60
) -> SensorLog:
    return SensorLog(*(np.array([value], dtype=np.float64) for value in (net, use, rain, ran, offered)))


def learned(found: SensorLog, of: ZoneTable | None = None) -> float:
    return float(learned_from_logs(of or zones(), GOVERNING, THRESHOLD, found, SETTINGS).factor[0])


def test_the_part_that_is_the_zones_own_is_believed() -> None:
    table = zones()
    own, common = own_variance(table)[0], common_variance(table)[0]
    error = 0.04**2 + (0.5 * 8.0 / 250.0) ** 2

    assert learned(log(net=300.0), table) == pytest.approx(1.2 ** (own / (own + common + error)))


def test_measured_rate_and_uniformity_leave_little_to_learn() -> None:
    measured = replace(
        zones(),
        precipitation_rate_assumed=np.array([False, False]),
        distribution_uniformity_assumed=np.array([False, False]),
    )

    assert 1.0 < learned(log(net=280.0), measured) < learned(log(net=280.0))


@pytest.mark.parametrize(
    "found",
    [
        pytest.param(log(net=float("nan"), use=float("nan"), ran=float("nan")), id="nothing logged"),
        pytest.param(log(net=20.0, use=24.0), id="a cool month"),
        pytest.param(log(net=200.0, ran=58), id="hardly a start blocked, and no more used than believed"),
        pytest.param(log(net=30.0, ran=2), id="stuck wet"),
        pytest.param(log(net=900.0), id="far more than any book is wrong by: the sensor"),
    ],
)
def test_a_log_that_says_nothing_teaches_nothing(found: SensorLog) -> None:
    assert learned(found) == 1.0


def test_where_the_clock_was_the_limit_more_use_is_still_seen() -> None:
    assert learned(log(net=300.0, ran=59)) > 1.0


@settings(max_examples=40, deadline=None)
@given(
    net=st.floats(0.0, 2_000.0),
    use=st.floats(0.0, 500.0),
    rain=st.floats(0.0, 500.0),
    ran=st.floats(0.0, 90.0),
)
def test_what_is_learned_lies_between_the_book_and_the_log(
    net: float, use: float, rain: float, ran: float
) -> None:
    factor = learned(log(net=net, use=use, rain=rain, ran=ran, offered=90))
    said = net / max(use - rain, 0.3 * use, 1e-9)

    assert min(1.0, said) - 1e-9 <= factor <= max(1.0, said) + 1e-9


def test_a_learned_ratio_is_known_better() -> None:
    table, governing = zones(), np.zeros(2, dtype=np.int64)
    found = learned_from_logs(table, GOVERNING, THRESHOLD, log(net=300.0), SETTINGS)

    plain = ratio_spread(table, governing)
    better = ratio_spread(table, governing, found.weight[[0, 0]], found.error_variance[[0, 0]])

    assert better[1] < 0.85 * plain[1]
    assert better[0] == plain[0]
    nothing = nothing_learned(1)
    np.testing.assert_array_equal(
        ratio_spread(table, governing, nothing.weight, nothing.error_variance), plain
    )


def test_simulated_gardens_are_read_back() -> None:
    """Runs that meet a zone's true use, told by a book that is wrong about its rate: the log finds it."""
    rng = np.random.default_rng(5)
    table = zones()
    own, common = own_variance(table)[0], common_variance(table)[0]
    own_error, common_error = rng.normal(0, np.sqrt(own), 800), rng.normal(0, np.sqrt(common), 800)
    said = 250.0 * np.exp(common_error - own_error)
    found = np.array([learned(log(net=one), table) for one in said])

    # What is left of the zone's own error is what the estimate promises, and less than before.
    believed = found != 1.0
    assert believed.mean() > 0.97
    left = (-own_error - np.log(found))[believed]
    weight = own / (own + common + 0.04**2 + (4.0 / 250.0) ** 2)
    assert left.std() == pytest.approx(np.sqrt((1 - weight) ** 2 * own + weight**2 * common), rel=0.1)
    assert left.std() < 0.6 * own_error.std()
