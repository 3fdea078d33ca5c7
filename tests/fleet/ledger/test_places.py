"""What gardens under one weather record err alike, and what it does to sums of savings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fleet.calc.ledger.answer import LedgerInputs, SiteLedger
from fleet.calc.ledger.places import PlaceErrors, PlaceMoves, place_errors, place_moves
from fleet.calc.ledger.sites import site_ledger
from fleet.scoring.ledger_worlds import DAYS, FIRST_DAY, PEOPLE, Portfolio
from fleet.scoring.ledger_worlds import portfolio as invented
from weather.calc.arrays import FloatArray, IntArray

LAST_YEAR = (FIRST_DAY + 730, FIRST_DAY + DAYS)


def misses(
    *, spread: float, places: int, rho: float = 0.0, seed: int = 5
) -> tuple[FloatArray, FloatArray, FloatArray, IntArray, IntArray]:
    """Residuals of 40 gardens a place over 60 months, of which a share is the place's, by a known spread."""
    rng = np.random.default_rng(seed)
    place = np.repeat(np.arange(places), 40)
    moves = rng.normal(0.0, 1.0, (places, 60))
    for k in range(1, 60):
        moves[:, k] = rho * moves[:, k - 1] + np.sqrt(1 - rho**2) * moves[:, k]
    predicted = np.broadcast_to(rng.lognormal(6.0, 0.3, (place.size, 1)), (place.size, 60)).copy()
    own = rng.normal(0.0, 0.2, predicted.shape)
    residual = predicted * (own + spread * moves[place])
    month = np.broadcast_to(np.arange(60), predicted.shape).copy()
    return residual, predicted, np.full(predicted.shape, 30.0), month, place


@pytest.mark.parametrize("spread", [0.05, 0.15])
def test_spread_of_places_is_found(spread: float) -> None:
    residual, predicted, days, month, place = misses(spread=spread, places=30)

    moves, own = place_moves(residual, predicted, days, month, place)

    assert np.sqrt(moves.variance) == pytest.approx(spread, rel=0.12)
    assert moves.months == 60
    # what was the place's is gone, what was the garden's own is left
    assert np.std(own / predicted) == pytest.approx(0.2, rel=0.03)


def test_places_that_do_nothing_apart_take_hardly_anything() -> None:
    residual, predicted, days, month, place = misses(spread=0.0, places=30)

    moves, own = place_moves(residual, predicted, days, month, place)

    assert np.sqrt(moves.variance) < 0.01
    assert own == pytest.approx(residual, abs=0.02 * predicted.max())


def test_memory_of_places_is_found() -> None:
    residual, predicted, days, month, place = misses(spread=0.1, places=30, rho=0.6)

    moves, _ = place_moves(residual, predicted, days, month, place)

    assert moves.rho == pytest.approx(0.6, abs=0.1)


def test_two_places_or_no_bills_claim_nothing() -> None:
    residual, predicted, days, month, place = misses(spread=0.2, places=2)
    few, own = place_moves(residual, predicted, days, month, place)
    none, _ = place_moves(residual, predicted, 0.0 * days, month, place)

    assert few.variance == 0.0
    assert none.variance == 0.0
    assert own is residual


def errors(share: list[float], *, variance: float = 0.01, rho: float = 0.0) -> PlaceErrors:
    """Errors of gardens 0, 1, 2, ... each at its own place, with the comparison spread as told."""
    moves = PlaceMoves(np.arange(len(share)), variance, rho, 1e12)
    return place_errors(
        moves,
        comparison_l=np.array(share),
        is_told=np.ones(2, dtype=np.bool_),
        middle_d=np.array([15.0, 45.44]),
    )


def test_book_spread_like_its_comparison_errs_by_no_place() -> None:
    asked = np.array([[50.0, 80.0], [30.0, 48.0], [20.0, 32.0]])

    variance = errors([5.0, 3.0, 2.0]).of_sum(asked, np.ones((1, 2)))

    assert variance[0] == pytest.approx(0.0, abs=1e-9)


def test_comparison_in_one_place_leaves_the_others_error_whole() -> None:
    # by hand: the book's 100 L of one month lie in place 1, the comparison in place 0:
    # error = 100 (m1 - m0), variance 100^2 x 2 x 0.01
    asked = np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 0.0]])

    of_sum = errors([1.0, 0.0, 0.0]).of_sum(asked, np.ones((1, 2)))
    of_gardens = errors([1.0, 0.0, 0.0]).of_gardens(asked, np.ones((1, 2)))

    assert of_sum[0] == pytest.approx(200.0)
    assert of_gardens[:, 0] == pytest.approx([0.0, 200.0, 0.0])


def test_months_that_err_alike_add_up_faster() -> None:
    asked = np.array([[0.0, 0.0], [100.0, 100.0], [0.0, 0.0]])
    both = np.ones((1, 2))

    apart = errors([1.0, 0.0, 0.0]).of_sum(asked, both)[0]
    alike = errors([1.0, 0.0, 0.0], rho=0.5).of_sum(asked, both)[0]

    # sd^2 of a sum of two with correlation one half: (1 + 1 + 2 x 0.5) against (1 + 1)
    assert alike / apart == pytest.approx(1.5)


def test_pieces_that_no_comparison_tells_are_left_to_their_own_errors() -> None:
    moves = PlaceMoves(np.arange(3), 0.01, 0.0, 12.0)
    silent = place_errors(
        moves, comparison_l=np.zeros(3), is_told=np.zeros(2, dtype=np.bool_), middle_d=np.array([15.0, 45.0])
    )

    assert silent.of_sum(np.full((3, 2), 100.0), np.ones((1, 2)))[0] == 0.0


def ledger_of(book: Portfolio, place: IntArray | None) -> SiteLedger:
    """The last year's ledger, with or without knowing the places."""
    start, end = (np.array([day]) for day in LAST_YEAR)
    return site_ledger(LedgerInputs(book.periods, book.need, book.change_on, start, end, place))


def test_interval_of_the_book_holds_what_places_do_and_the_savings_stay() -> None:
    book = invented(replace(PEOPLE, weather_error=0.15), seed=11, sites=200)

    blind, knowing = ledger_of(book, None), ledger_of(book, book.place)

    assert knowing.place_spread == pytest.approx(0.13, abs=0.06)
    assert blind.place_spread == 0.0
    assert knowing.total.saved_l[0] == pytest.approx(blind.total.saved_l[0], rel=1e-9)
    changed = np.where(np.isnat(book.change_on), 0.0, 1.0)[:, None]
    asked = np.where(knowing.pieces.is_metered, knowing.pieces.predicted_l, 0.0) * changed
    assert knowing.total.sd_l[0] ** 2 > knowing.places.of_sum(asked, knowing.groups)[0] > 0.0
    # numbers of places are only names
    assert ledger_of(book, 7 * book.place + 3).total.sd_l == pytest.approx(knowing.total.sd_l, rel=1e-12)
