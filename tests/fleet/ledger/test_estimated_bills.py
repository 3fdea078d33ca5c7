"""Bills that a supplier estimated: the next read one makes them good, and both count as one period."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from django.test import Client

from fleet.calc.ledger.periods import ESTIMATED_VOLUME, estimates_made_good
from fleet.calc.ledger.reasons import mend_of, reason_words
from fleet.models import LedgerSite, User
from fleet.selectors.ledger.inputs import ledger_book
from fleet.services.ledger.record import update_ledger
from sites.models import MeterVolume, Site
from sites.services.record_meters import import_meter
from tests.fleet.ledger.test_bad_input import named, site
from tests.fleet.ledger.test_service import UNTIL, bills
from tests.fleet.ledger.test_use import volumes

__all__ = ["site"]  # the fixture
SignIn = Callable[[User], Client]


def test_estimates_count_with_the_read_bill_that_follows_on() -> None:
    rows = [
        (0, 1, "2026-01-01", "2026-02-01", 10.0),
        (0, 1, "2026-02-01", "2026-03-01", 11.0),
        (0, 1, "2026-03-01", "2026-04-01", 4.0),
        (0, 1, "2026-04-01", "2026-05-01", 7.0),
        (1, 2, "2026-01-01", "2026-02-01", 1.0),
        (1, 2, "2026-02-10", "2026-03-01", 2.0),
        (2, 3, "2026-01-01", "2026-02-01", 3.0),
    ]

    use = estimates_made_good(volumes(rows), np.array([0, 1, 1, 0, 1, 0, 1], dtype=np.bool_))

    assert use.periods.volume_l.tolist() == [10.0, 22.0, 2.0]
    assert use.periods.spans_estimate.tolist() == [False, True, False]
    assert (str(use.periods.start[1]), str(use.periods.end[1])) == ("2026-02-01", "2026-05-01")
    assert [(one.site, one.code) for one in use.problems] == [(1, ESTIMATED_VOLUME), (2, ESTIMATED_VOLUME)]


@pytest.mark.django_db
def test_file_says_which_bills_were_estimated_and_a_later_file_may_put_it_right(
    site: Site, manager: User, sign_in: SignIn, tmp_path: Path
) -> None:
    path = tmp_path / "meter.csv"
    rows = ["2026-02-01,2026-03-01,10,m3,", "2026-03-01,2026-04-01,30,m3,estimated",
            "2026-04-01,2026-05-01,2,m3,actual", "2026-05-01,2026-06-01,12,m3,estimated"]  # fmt: skip
    path.write_text("site,start,end,volume,unit,read_kind\n" + "".join(f"CB-01,{row}\n" for row in rows))
    assert import_meter(path=path, today=UNTIL).problems == ()

    assert ledger_book(until_day=UNTIL).use.periods.volume_l.tolist() == [10_000.0, 32_000.0]
    assert ESTIMATED_VOLUME in named(site)
    client = sign_in(manager)
    page = unescape(client.get("/water/unjudged/").content.decode()).lower()
    assert reason_words(ESTIMATED_VOLUME) in page.partition("reads that were left out")[2]
    assert mend_of(ESTIMATED_VOLUME)[1] in page
    assert "estimated volume since 1 May 2026" in client.get("/water/sites/CB-01/").content.decode()

    path.write_text("site,start,end,volume,unit\nCB-01,2026-05-01,2026-06-01,12,m3\n")
    report = import_meter(path=path, today=UNTIL)
    assert (report.changed, MeterVolume.objects.filter(is_estimated=True).count()) == (1, 1)
    assert ledger_book(until_day=UNTIL).use.periods.volume_l.tolist() == [10_000.0, 32_000.0, 12_000.0]


@pytest.mark.django_db
def test_wild_estimates_made_good_leave_the_saving_as_it_was(site: Site) -> None:
    bills(site, share_after=0.7, seed=1)
    update_ledger(until_day=UNTIL)
    before = LedgerSite.objects.get(site=site).saved_l
    guess = MeterVolume.objects.get(start=date(2025, 7, 1))
    good = MeterVolume.objects.get(start=date(2025, 8, 1))
    wrong = 0.4 * guess.volume_l
    guess.volume_l, guess.is_estimated, good.volume_l = guess.volume_l - wrong, True, good.volume_l + wrong
    guess.save()
    good.save()

    assert "spans_estimate" in named(site)

    assert LedgerSite.objects.get(site=site).saved_l == pytest.approx(before, rel=0.01)
