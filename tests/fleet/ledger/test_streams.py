"""Bills and registers of one garden: each litre counts once, and a new number is no new garden."""

from __future__ import annotations

from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.calc.ledger.periods import BILLS_DIFFER, UsePeriods, joined, sound_periods
from fleet.calc.ledger.reasons import METER_FOLLOWED, mend_of, reason_words
from fleet.calc.ledger.savings import CONFIDENCE
from fleet.calc.ledger.streams import site_periods
from fleet.models import LedgerPortfolio, LedgerSite, User
from fleet.selectors.ledger.answer import answer_spans, month_spans
from fleet.selectors.ledger.inputs import ledger_book
from fleet.services.ledger.record import update_ledger
from sites.models import Meter, MeterReading, MeterVolume, Site
from sites.services.record_meters import import_meter, import_readings
from tests.fleet.ledger.test_bad_input import SignIn, named, read, register, site
from tests.fleet.ledger.test_service import UNTIL, bills, garden
from tests.fleet.ledger.test_use import volumes

__all__ = ["site"]  # the fixture
NOW = datetime(2026, 6, 2, tzinfo=UTC)
BILLS = np.array([9], dtype=np.int64)


def merged(bill: UsePeriods, reads: UsePeriods) -> tuple[list[float], list[str]]:
    """Volumes and problems of the one stream."""
    use = site_periods(sound_periods(joined(bill, reads)), bill_meters=BILLS)
    return use.periods.volume_l.tolist(), [one.code for one in use.problems]


def test_bills_and_reads_of_the_same_days_count_once_and_the_finer_counts() -> None:
    monthly = volumes([(0, 9, "2026-04-01", "2026-05-01", 10.0), (0, 9, "2026-05-01", "2026-06-01", 20.0)])
    one_read = volumes([(0, 1, "2026-04-01", "2026-06-01", 30.0)])
    weekly = volumes([(0, 1, f"2026-04-{d:02d}", f"2026-04-{d + 5:02d}", 10 / 6) for d in range(1, 26, 5)])

    assert merged(monthly, one_read) == ([10.0, 20.0], [])
    assert merged(monthly, weekly) == ([pytest.approx(10 / 6)] * 5 + [20.0], [])


def test_bills_that_contradict_the_register_are_named_and_neither_counts() -> None:
    bill = volumes([(0, 9, "2026-03-01", "2026-04-01", 8.0), (0, 9, "2026-04-01", "2026-05-01", 37.9)])
    reads = volumes([(0, 1, "2026-04-01", "2026-05-01", 10.0), (0, 1, "2026-05-01", "2026-06-01", 11.0)])

    assert merged(bill, reads) == ([8.0, 11.0], [BILLS_DIFFER])
    assert "different water" in reason_words(BILLS_DIFFER)
    assert "correct the other" in mend_of(BILLS_DIFFER)[1]


def test_registers_that_follow_one_another_are_one_stream_beside_a_third() -> None:
    use = site_periods(
        sound_periods(
            volumes(
                [
                    (0, 1, "2026-01-01", "2026-02-01", 10.0),
                    (0, 2, "2026-02-01", "2026-03-01", 20.0),
                    (0, 3, "2026-01-01", "2026-03-01", 5.0),
                    (1, 4, "2026-01-01", "2026-02-01", 1.0),
                    (1, 5, "2026-02-10", "2026-03-01", 2.0),
                ]
            )
        )
    )

    assert use.problems == ()
    assert use.periods.volume_l.tolist() == [35.0, 1.0, 2.0]


@settings(max_examples=30, deadline=None)
@given(cuts=st.lists(st.integers(1, 180), min_size=1, max_size=6, unique=True), until=st.integers(20, 170))
def test_no_day_of_a_garden_counts_twice(cuts: list[int], until: int) -> None:
    # a litre a day, told by reads up to a day and by bills of any lengths over the whole time
    day = np.datetime64("2026-01-01")
    edges = [0, *sorted(cuts), 181]
    told = [(0, 9, str(day + a), str(day + b), float(b - a)) for a, b in pairwise(edges)]
    reads = [
        (0, 1, str(day + k), str(day + min(k + 10, until)), float(min(10, until - k)))
        for k in range(0, until, 10)
    ]

    use = site_periods(sound_periods(joined(volumes(told), volumes(reads))), bill_meters=BILLS)

    assert use.problems == ()
    assert bool(np.all(use.periods.end[:-1] <= use.periods.start[1:]))
    assert use.periods.volume_l.sum() == pytest.approx(use.periods.days.sum())


@pytest.mark.django_db
def test_bills_up_to_a_year_and_reads_after_it_are_one_history(site: Site, tmp_path: Path) -> None:
    bills(site, share_after=0.7, seed=1)
    old = list(MeterVolume.objects.order_by("start"))
    update_ledger(until_day=UNTIL)
    by_bills = LedgerSite.objects.get(site=site)
    MeterVolume.objects.filter(start__gte=date(2026, 1, 1)).delete()
    lines, total = ["site,meter_id,read_at,reading,unit", "CB-01,A7,2026-01-01T00:00,0,l"], 0.0
    for row in old:
        if row.start >= date(2026, 1, 1):
            total += row.volume_l
            lines.append(f"CB-01,A7,{row.end}T00:00,{total},l")
    path = tmp_path / "readings.csv"
    path.write_text("\n".join(lines) + "\n")
    assert import_readings(path=path, now=NOW).problems == ()

    update_ledger(until_day=UNTIL)

    now = LedgerSite.objects.get(site=site)
    assert now.verdict == ""
    assert now.saved_l == pytest.approx(by_bills.saved_l, rel=1e-3)


@pytest.mark.django_db
def test_file_of_bills_and_file_of_reads_of_one_meter_are_not_added(site: Site, tmp_path: Path) -> None:
    readings, volumes_path = tmp_path / "readings.csv", tmp_path / "meter.csv"
    readings.write_text(
        "site,meter_id,read_at,reading,unit\n"
        + "".join(f"CB-01,A7,2026-0{m}-01T09:00,{10 * m},m3\n" for m in range(1, 6))
    )
    volumes_path.write_text(
        "site,start,end,volume,unit\n"
        + "".join(f"CB-01,2026-0{m}-01,2026-0{m + 1}-01,10,m3\n" for m in range(1, 5))
    )
    assert import_readings(path=readings, now=NOW).problems == ()
    assert import_meter(path=volumes_path, today=UNTIL).problems == ()

    assert ledger_book(until_day=UNTIL).use.periods.volume_l.sum() == pytest.approx(40_000.0)


@pytest.mark.django_db
def test_register_exchanged_under_a_new_number_counts_on_and_says_so(
    site: Site, manager: User, sign_in: SignIn
) -> None:
    bills(site, share_after=0.7, seed=1)
    months = list(MeterVolume.objects.order_by("start"))
    first, second = register(site, "OLD-1"), register(site, "NEW-2")
    for meter, some in ((first, months[:22]), (second, months[22:])):
        total = 0.0
        read(meter, some[0].start, 0.0, unit="l")
        for row in some:
            total += row.volume_l
            read(meter, row.end, total, unit="l")
    MeterVolume.objects.all().delete()

    assert METER_FOLLOWED in named(site)

    assert LedgerSite.objects.get(site=site).verdict == ""
    client = sign_in(manager)
    assert reason_words(METER_FOLLOWED) in client.get("/water/unjudged/").content.decode().lower()
    page = client.get("/water/sites/CB-01/").content.decode()
    assert "OLD-1" in page
    assert "NEW-2" in page
    assert MeterReading.objects.count() == len(months) + 2
    assert Meter.objects.exclude(code="").count() == 2


@pytest.mark.django_db
def test_book_of_one_garden_is_no_better_known_than_the_garden(site: Site) -> None:
    bills(site, share_after=0.7, seed=1)
    update_ledger(until_day=UNTIL)
    row = LedgerSite.objects.get(site=site)
    whole = max(LedgerPortfolio.objects.all(), key=lambda one: one.period_end - one.period_start).values
    part = whole["by"]["supplier"]["Wend Valley Water"]

    for values in (whole, part):
        assert values["saved_low_l"] == pytest.approx(row.saved_low_l, abs=0.2)
        assert values["saved_high_l"] == pytest.approx(row.saved_high_l, abs=0.2)
    assert CONFIDENCE == 0.9


@pytest.mark.django_db
def test_book_of_several_gardens_is_wider_than_the_normal_and_narrower_than_one_of_them(site: Site) -> None:
    assert site.location is not None
    bills(site, share_after=0.7, seed=1)
    for n in range(2, 6):
        bills(garden(f"CB-0{n}", site.location), share_after=0.7, seed=n)
    book = ledger_book(until_day=UNTIL)
    months = month_spans(first=date(2024, 1, 1), until_day=UNTIL)
    answer = answer_spans(book=book, spans=[(months[0][0], months[-1][1])])
    assert answer is not None
    total, own = answer.ledger.total, answer.ledger.freedom
    ratio = float(total.half_width_l(CONFIDENCE)[0] / total.sd_l[0])
    assert 1.645 < ratio < 1.75
    assert own.max() < total.freedom[0] < 1e6
