"""Units and decimal points that slip without a word: named, and no saving is made of them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from html import unescape

import numpy as np
import pytest
from django.db.models import F
from django.test import Client

from fleet.calc.ledger.need import SiteNeed
from fleet.calc.ledger.periods import MeteredUse
from fleet.calc.ledger.reasons import reason_words
from fleet.calc.ledger.slips import TOO_LITTLE, TOO_MUCH, plausible_use
from fleet.models import LedgerPortfolio, LedgerSite, User
from fleet.services.ledger.record import update_ledger
from sites.models import MeterVolume, Site
from tests.fleet.ledger.test_bad_input import named, site
from tests.fleet.ledger.test_service import INSTALLED, UNTIL, bills, garden
from tests.fleet.ledger.test_use import volumes

__all__ = ["site"]  # the fixture
SignIn = Callable[[User], Client]


def steady(days: int = 400, sites: int = 1) -> SiteNeed:
    """A need of 1,000 L on each day."""
    total = np.arange(days + 1, dtype=np.float64)[:, None] * np.full((1, sites), 1000.0)
    return SiteNeed(np.datetime64("2026-01-01"), total, total, np.zeros((days + 1, sites), dtype=np.int64))


def codes(rows: list[tuple[int, int, str, str, float]], *, whole_house: bool = False) -> list[str]:
    """What is named of periods."""
    use = plausible_use(MeteredUse(volumes(rows, whole_house=whole_house), ()), steady(), 1)
    assert use.periods.site.size + len(use.problems) == len(rows)
    return [one.code for one in use.problems]


def test_twenty_times_the_largest_need_is_named_and_less_is_people() -> None:
    assert codes([(0, 1, "2026-05-01", "2026-05-31", 30 * 21_000.0)]) == [TOO_MUCH]
    assert codes([(0, 1, "2026-05-01", "2026-05-31", 30 * 19_000.0)]) == []
    # a day's watering for two weeks
    assert codes([(0, 1, "2026-05-01", "2026-05-02", 20_500.0)]) == []
    # a house may use more than its little garden
    assert codes([(0, 1, "2026-05-01", "2026-05-31", 30 * 21_000.0)], whole_house=True) == []


def test_next_to_nothing_is_named_where_the_garden_is_watered_else_and_nothing_is_a_garden_at_rest() -> None:
    usual = [(0, 1, f"2026-0{m}-01", f"2026-0{m + 1}-01", 30_000.0) for m in (1, 2)]

    assert codes([*usual, (0, 1, "2026-04-01", "2026-05-01", 30.0)]) == [TOO_LITTLE]
    assert codes([*usual, (0, 1, "2026-04-01", "2026-05-01", 0.0)]) == []
    assert codes([*usual, (0, 1, "2026-04-01", "2026-05-01", 300.0)]) == []
    assert codes([(0, 1, f"2026-0{m}-01", f"2026-0{m + 1}-01", 30.0) for m in (1, 2, 3)]) == []


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("factor", "is_before", "code"),
    [(264.17, True, TOO_MUCH), (1000.0, True, TOO_MUCH), (1 / 1000, False, TOO_LITTLE)],
    ids=["gallons taken for m3 before", "thousands before", "thousands of gallons taken for gallons after"],
)
def test_no_saving_is_made_of_bills_in_another_unit_than_they_say(
    site: Site, manager: User, sign_in: SignIn, factor: float, is_before: bool, code: str
) -> None:
    assert site.location is not None
    bills(site, share_after=1.0, seed=1)
    bills(garden("CB-02", site.location), share_after=0.7, seed=2)
    slipped = MeterVolume.objects.filter(meter__site=site)
    slipped = slipped.filter(start__lt=INSTALLED) if is_before else slipped.filter(start__gte=INSTALLED)
    slipped.update(volume_l=F("volume_l") * factor)

    assert code in named(site)

    row = LedgerSite.objects.get(site=site)
    assert row.saved_l is None
    assert row.verdict != ""
    whole = max(LedgerPortfolio.objects.all(), key=lambda one: one.period_end - one.period_start).values
    assert whole["judged"] == 1
    assert whole["saved_l"] == pytest.approx(LedgerSite.objects.get(site__code="CB-02").saved_l, rel=1e-3)
    page = unescape(sign_in(manager).get("/water/unjudged/").content.decode()).lower()
    assert reason_words(code) in page.partition("reads that were left out")[2]


@pytest.mark.django_db
def test_one_slipped_bill_leaves_the_others_their_saving(site: Site) -> None:
    bills(site, share_after=0.7, seed=1)
    update_ledger(until_day=UNTIL)
    before = LedgerSite.objects.get(site=site)
    MeterVolume.objects.filter(start=date(2025, 7, 1)).update(volume_l=F("volume_l") * 100)

    assert TOO_MUCH in named(site)

    row = LedgerSite.objects.get(site=site)
    assert row.verdict == ""
    assert row.saved_l is not None
    assert before.saved_l is not None
    assert 0.7 * before.saved_l < row.saved_l < before.saved_l
