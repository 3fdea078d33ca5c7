"""What visits brought: the comparison takes out what would have fallen back by itself."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.calc.ledger.visit_effects import VisitEffect, visit_effect
from fleet.models import Company, Finding, Route, Stop
from fleet.selectors.ledger.parts import parts_page
from fleet.services.ledger.record import update_ledger
from tests.conftest import NOW
from tests.factories import build_technician, build_visit
from tests.fleet.ledger.test_service import UNTIL, bills, dry_location, garden


def book_of(seed: int, saved: float) -> VisitEffect | None:
    """300 gardens of own habits and moods; 40 of the 100 furthest over need before month 4 are visited."""
    rng = np.random.default_rng(seed)
    over = rng.normal(0, 3_000, (300, 1)) + rng.normal(0, 3_000, (300, 8)) + rng.normal(0, 500, (1, 8))
    visited = rng.choice(np.argsort(-over[:, 1:4].mean(axis=1))[:100], 40, replace=False)
    over[visited, 4:] -= saved
    mask = np.zeros(over.shape, dtype=np.bool_)
    mask[visited, 4] = True
    return visit_effect(over_l=over, site=visited, month=np.full(40, 4), is_visited=mask)


def test_a_visit_that_did_nothing_is_not_praised_for_what_fell_back_by_itself() -> None:
    found = [book_of(seed, 0.0) for seed in range(60)]
    told = [one for one in found if one is not None]

    assert len(told) > 40
    plain = float(np.mean([one.plain_l for one in told]))
    ours = float(np.mean([one.saved_l for one in told]))
    assert plain > 500  # what a plain before and after would claim
    assert abs(ours) < 0.25 * plain


def test_matched_visits_tell_what_was_saved() -> None:
    held, errors = 0, []
    for seed in range(80):
        rng = np.random.default_rng(seed)
        over = rng.normal(0, 3_000, (400, 1)) + rng.normal(0, 1_000, (400, 8))
        visited = rng.choice(np.flatnonzero(over[:, 1:4].mean(axis=1) > 1_000), 30, replace=False)
        over[visited, 4:] -= 2_000
        mask = np.zeros(over.shape, dtype=np.bool_)
        mask[visited, 4] = True
        one = visit_effect(over_l=over, site=visited, month=np.full(30, 4), is_visited=mask)
        assert one is not None
        held += one.low_l <= 2_000 <= one.high_l
        errors.append(one.saved_l - 2_000)
    assert abs(float(np.mean(errors))) < 100
    assert 0.78 <= held / 80 <= 0.99


def test_few_visits_unknown_months_and_edges_give_no_answer() -> None:
    over = np.random.default_rng(1).normal(0, 1, (2_000, 8))
    none = np.zeros(over.shape, dtype=np.bool_)

    def of(site: list[int], month: int, values: object = over) -> VisitEffect | None:
        return visit_effect(
            over_l=np.asarray(values), site=np.array(site), month=np.full(len(site), month), is_visited=none
        )

    assert of(list(range(7)), 4) is None
    assert of(list(range(20)), 1) is None
    assert of(list(range(20)), 6) is None
    assert of(list(range(20)), 4, np.full(over.shape, np.nan)) is None
    assert of(list(range(12)), 4) is not None


@pytest.mark.django_db
def test_the_night_counts_visits_and_their_cost_without_claiming_an_effect(company: Company) -> None:
    site = garden("CB-01", dry_location())
    bills(site, share_after=0.7, seed=1)
    visit = build_visit(site, service_min=30)
    route = Route.objects.create(
        technician=build_technician(), day=UNTIL, start_at=NOW, end_at=NOW, planned_at=NOW
    )
    Stop.objects.create(
        route=route, order=1, visit=visit, arrive=NOW, depart=NOW, state="finished", drive_min=30, drive_km=10
    )
    Finding.objects.create(client_key="f", visit=visit, recorded_at=NOW, kind="flag")

    update_ledger(until_day=UNTIL)

    page = parts_page(by="soil", span="")
    assert page is not None
    (one,) = page.visits
    assert (one.visits, one.told, one.saved_l) == (1, 0, None)
    assert one.cost == pytest.approx(42.0 + 10 * 0.45)  # an hour and ten kilometres at the defaults
