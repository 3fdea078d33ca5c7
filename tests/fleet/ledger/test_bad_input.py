"""Bad input of meters, each named on the page of data that cannot be judged and never averaged away."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from html import unescape
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.test import Client

from fleet.calc.ledger.reasons import mend_of, reason_words
from fleet.models import Company, LedgerMonth, LedgerSite, User
from fleet.selectors.ledger.inputs import ledger_book
from fleet.services.ledger.record import update_ledger
from sites.models import Meter, MeterReading, MeterVolume, ProgramSet, Site
from sites.services.record_meters import import_meter, import_readings
from tests.factories import build_controller, build_sensor, build_zone
from tests.fleet.ledger.test_service import INSTALLED, UNTIL, bills, dry_location, garden

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]
NOW = datetime(2026, 6, 1, tzinfo=UTC)


@pytest.fixture
def site(company: Company) -> Site:
    """A garden with two and a half years of weather."""
    return garden("CB-01", dry_location())


def read(meter: Meter, day: date, reading: float, **columns: object) -> None:
    """One reading at noon in Denver."""
    at = datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo("America/Denver"))
    MeterReading.objects.create(meter=meter, **{"read_at": at, "reading": reading, "unit": "m3", **columns})


def register(site: Site, code: str = "M1") -> Meter:
    """An irrigation meter with a register."""
    return Meter.objects.create(site=site, code=code, kind="irrigation")


def named(site: Site) -> set[str]:
    """What the ledger names of a garden."""
    update_ledger(until_day=UNTIL)
    rows = LedgerMonth.objects.filter(site=site).values_list("reasons", flat=True)
    return {word for row in rows for word in row.split(";")}


def volume_file(tmp_path: Path, rows: list[str]) -> Path:
    """A meter file."""
    path = tmp_path / "meter.csv"
    path.write_text("site,start,end,volume,unit\n" + "\n".join(rows) + "\n")
    return path


def reading_file(tmp_path: Path, rows: list[str]) -> Path:
    """A readings file."""
    path = tmp_path / "readings.csv"
    path.write_text("site,meter_id,read_at,reading,unit,digits,event\n" + "\n".join(rows) + "\n")
    return path


def test_reads_out_of_order_in_a_file_are_put_in_order_and_a_falling_one_is_refused(
    site: Site, tmp_path: Path
) -> None:
    good = ["CB-01,M1,2026-05-01T09:00,100,m3,,", "CB-01,M1,2026-03-01T09:00,20,m3,,",
            "CB-01,M1,2026-04-01T09:00,60,m3,,"]  # fmt: skip
    assert import_readings(path=reading_file(tmp_path, good), now=NOW).problems == ()
    assert ledger_book(until_day=UNTIL).use.periods.volume_l.tolist() == [40_000.0, 40_000.0]

    late = reading_file(tmp_path, ["CB-01,M1,2026-04-15T09:00,10,m3,,"])
    refused = import_readings(path=late, now=NOW)

    assert "at least 60" in refused.problems[0].expected
    assert MeterReading.objects.count() == 3


def test_negative_volume_is_refused_by_file_and_store(site: Site, tmp_path: Path) -> None:
    path = volume_file(tmp_path, ["CB-01,2026-04-01,2026-05-01,-3,m3"])

    assert import_meter(path=path, today=UNTIL).problems[0].column == "volume"
    assert not MeterVolume.objects.exists()


def test_overlapping_periods_are_named_and_neither_is_counted(site: Site) -> None:
    meter = register(site)
    for start, end in ((date(2026, 4, 1), date(2026, 5, 1)), (date(2026, 4, 20), date(2026, 5, 20))):
        MeterVolume.objects.create(meter=meter, start=start, end=end, volume_l=9e3, volume_given=9, unit="m3")

    assert "overlapping_periods" in named(site)
    assert not LedgerMonth.objects.filter(site=site, used_l__isnull=False, used_source="metered").exists()


def test_overlapping_periods_of_a_file_are_refused(site: Site, tmp_path: Path) -> None:
    rows = ["CB-01,2026-04-01,2026-05-01,9,m3", "CB-01,2026-04-20,2026-05-20,9,m3"]
    problems = import_meter(path=volume_file(tmp_path, rows), today=UNTIL).problems
    assert "clear of the one from 2026-04-01" in problems[0].expected


def test_unit_changed_midway_is_refused_but_an_exchanged_register_may_count_in_another(
    site: Site, tmp_path: Path
) -> None:
    rows = ["CB-01,M1,2026-03-01T09:00,100,m3,,", "CB-01,M1,2026-04-01T09:00,27000,gal,,"]
    problems = import_readings(path=reading_file(tmp_path, rows), now=NOW).problems
    assert (problems[0].column, "m3" in problems[0].expected) == ("unit", True)

    swapped = [
        "CB-01,M1,2026-03-01T09:00,100,m3,,",
        "CB-01,M1,2026-04-01T09:00,140,m3,,",
        "CB-01,M1,2026-04-01T09:00,0,gal,,swap",
        "CB-01,M1,2026-05-01T09:00,10000,gal,,",
    ]
    assert import_readings(path=reading_file(tmp_path, swapped), now=NOW).problems == ()
    assert ledger_book(until_day=UNTIL).use.periods.volume_l == pytest.approx([40_000.0, 37_854.1], abs=0.1)


def test_unit_that_changed_in_the_store_is_named(site: Site) -> None:
    meter = register(site)
    for day, figure, unit in (
        (date(2026, 3, 1), 100.0, "m3"),
        (date(2026, 4, 1), 120.0, "m3"),
        (date(2026, 5, 1), 200.0, "kgal"),
    ):
        read(meter, day, figure, unit=unit)

    assert "unit_changed" in named(site)


def test_one_read_only_is_named(site: Site) -> None:
    read(register(site), date(2026, 5, 1), 10.0)
    assert "one_read_only" in named(site)
    assert LedgerSite.objects.get(site=site).verdict == "no_metered_use"


def test_meter_whose_number_stands_at_two_gardens_is_counted_at_neither(site: Site) -> None:
    assert site.location is not None
    other = Site.objects.get(pk=garden("CB-02", site.location).pk)
    for one in (site, other):
        meter = register(one, "SHARED")
        for month in range(1, 6):
            read(meter, date(2026, month, 1), 40.0 * month)

    assert "meter_of_two_sites" in named(site)
    assert "meter_of_two_sites" in named(other)
    assert ledger_book(until_day=UNTIL).use.periods.site.size == 0


def test_meter_of_two_controllers_of_which_one_has_a_sensor_is_named(
    site: Site, manager: User, sign_in: SignIn
) -> None:
    second = build_controller(site, "B")
    build_zone(second, area_m2=100.0)
    bills(site, share_after=0.8, seed=1)
    assert "several_controllers" in named(site)
    page = sign_in(manager).get("/water/unjudged/").content.decode()
    assert "Meters that tell less" in page

    build_sensor(second)
    assert "several_controllers" not in named(site)


def test_period_ends_are_days_of_the_gardens_own_clock(site: Site) -> None:
    meter = register(site)
    # half past ten in the evening in Denver is the next day in UTC
    read(meter, date(2026, 4, 30), 0.0, read_at=datetime(2026, 5, 1, 4, 30, tzinfo=UTC))
    read(meter, date(2026, 5, 30), 31.0, read_at=datetime(2026, 5, 31, 4, 30, tzinfo=UTC))

    periods = ledger_book(until_day=UNTIL).use.periods

    assert [str(periods.start[0]), str(periods.end[0])] == ["2026-04-30", "2026-05-30"]


def overlap(site: Site) -> None:
    """Two periods share days."""
    meter = register(site)
    for start, end in ((date(2026, 4, 1), date(2026, 5, 1)), (date(2026, 4, 20), date(2026, 5, 20))):
        MeterVolume.objects.create(meter=meter, start=start, end=end, volume_l=9e3, volume_given=9, unit="m3")


def one_read(site: Site) -> None:
    """One read only."""
    read(register(site), date(2026, 5, 1), 10.0)


def only_estimates(site: Site) -> None:
    """Nobody ever looked at the register."""
    meter = register(site)
    for month in (3, 4, 5):
        read(meter, date(2026, month, 1), 10.0 * month, read_kind="estimated")


def falling(site: Site) -> None:
    """A later read is lower."""
    meter = register(site)
    for month, figure in ((3, 100.0), (4, 20.0), (5, 30.0)):
        read(meter, date(2026, month, 1), figure)


def unit_midway(site: Site) -> None:
    """The unit changes from one read to the next."""
    meter = register(site)
    for month, figure, unit in ((3, 100.0, "m3"), (4, 120.0, "m3"), (5, 200.0, "kgal")):
        read(meter, date(2026, month, 1), figure, unit=unit)


def no_last_read(site: Site) -> None:
    """A register is exchanged, and nobody wrote down where it stood."""
    meter = register(site)
    for month, figure, event in ((3, 100.0, ""), (4, 0.0, "swap"), (5, 30.0, "")):
        read(meter, date(2026, month, 1), figure, event=event)


def read_apart(site: Site) -> None:
    """Two meters that nobody reads on one day."""
    for place, code in enumerate(("M1", "M2")):
        meter = register(site, code)
        for month in (3, 4, 5):
            read(meter, date(2026, month, 1 + 5 * place), 10.0 * month)


def of_two_gardens(site: Site) -> None:
    """The number of a meter stands at two gardens."""
    assert site.location is not None
    for one in (site, Site.objects.get(pk=garden("CB-02", site.location).pk)):
        meter = register(one, "SHARED")
        for month in (3, 4, 5):
            read(meter, date(2026, month, 1), 10.0 * month)


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (overlap, "overlapping_periods"),
        (one_read, "one_read_only"),
        (only_estimates, "only_estimated_reads"),
        (falling, "reading_fell"),
        (unit_midway, "unit_changed"),
        (no_last_read, "no_closing_read"),
        (read_apart, "meters_read_apart"),
        (of_two_gardens, "meter_of_two_sites"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_each_fault_that_the_store_can_hold_stands_on_the_page_with_what_mends_it(
    site: Site, manager: User, sign_in: SignIn, spoil: Callable[[Site], None], code: str
) -> None:
    spoil(site)
    assert code in named(site)

    page = unescape(sign_in(manager).get("/water/unjudged/").content.decode()).lower()

    assert "reads that were left out" in page
    assert reason_words(code) in page.partition("reads that were left out")[2]
    assert mend_of(code)[1].lower() in page.partition("reads that were left out")[2]


def test_fault_of_a_garden_that_left_the_book_is_not_listed(
    site: Site, manager: User, sign_in: SignIn
) -> None:
    one_read(site)
    named(site)
    site.delete()

    page = sign_in(manager).get("/water/unjudged/").content.decode()

    assert "Reads that were left out" not in page


def test_keyed_in_program_is_the_change_where_there_is_no_sensor(site: Site) -> None:
    assert site.location is not None
    plain = garden("CB-02", site.location, sensor=False)
    bills(plain, share_after=0.7, seed=2)
    assert ledger_book(until_day=UNTIL).change_on.astype(str).tolist() == [str(INSTALLED), "NaT"]

    for as_of, origin in ((INSTALLED - timedelta(days=90), "imported"), (INSTALLED, "keyed_in")):
        ProgramSet.objects.create(controller=plain.controllers.get(), as_of=as_of, origin=origin)
    update_ledger(until_day=UNTIL)

    row = LedgerSite.objects.get(site=plain)
    assert (row.change_on, row.change_by, row.verdict) == (INSTALLED, "program", "")
    assert row.saved_low_l is not None
    assert row.saved_low_l > 0
    months = LedgerMonth.objects.filter(site=plain, month__gte=INSTALLED).values_list("reasons", flat=True)
    assert "estimated" not in "".join(months)
