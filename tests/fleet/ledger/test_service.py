"""The ledger from meters in the database to rows, export and pages."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyogrio
import pytest
from django.test import Client

from fleet.exports import ledger as export
from fleet.models import Company, Flag, LedgerMonth, LedgerPortfolio, LedgerSite, Tariff, User
from fleet.selectors.ledger.pages import water_page
from fleet.services.ledger.record import update_ledger
from sites.models import Meter, MeterReading, MeterVolume, Site
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from weather.models import DailyWeather, Location

pytestmark = pytest.mark.django_db

FIRST = date(2024, 1, 1)
UNTIL = date(2026, 5, 31)
INSTALLED = date(2025, 4, 1)


def eto(day: date) -> float:
    """Reference ET of a plain year [mm]."""
    return 4.0 - 3.0 * float(np.cos((day.timetuple().tm_yday - 15) / 365.25 * 2 * np.pi))


def dry_location() -> Location:
    """Two and a half years without rain."""
    location = build_location()
    days = [FIRST + timedelta(days=k) for k in range((UNTIL - FIRST).days + 1)]
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location,
            day=day,
            issued=day,
            source="test",
            fetched_at=datetime(2026, 6, 1, tzinfo=UTC),
            eto_mm=eto(day),
            eto_sd_mm=0.3,
            rain_used_mm=0.0,
            rain_sd_mm=0.0,
        )
        for day in days
    )
    return location


def garden(code: str, location: Location, *, sensor: bool = True) -> Site:
    """A garden of one lawn of 200 m2, with a sensor since April 2025."""
    site = build_site(code, location=location, supplier="Wend Valley Water")
    controller = build_controller(site)
    build_zone(controller, area_m2=200.0, distribution_uniformity=0.6, landscape_coefficient=0.8)
    if sensor:
        build_sensor(controller, installed_on=INSTALLED)
    return site


def bills(site: Site, *, share_after: float, seed: int, kind: str = "irrigation") -> Meter:
    """Monthly volumes: 1.5 times the lawn's need with some noise, a share of it after April 2025."""
    rng = np.random.default_rng(seed)
    meter = Meter.objects.create(site=site, code="", kind=kind)
    start = FIRST
    while start < UNTIL:
        end = (start + timedelta(days=32)).replace(day=1)
        need = sum(0.8 * eto(start + timedelta(days=k)) * 200.0 / 0.76 for k in range((end - start).days))
        volume = 1.5 * need * rng.lognormal(0, 0.05) * (share_after if start >= INSTALLED else 1.0)
        MeterVolume.objects.create(
            meter=meter, start=start, end=end, volume_l=volume, volume_given=volume, unit="l"
        )
        start = end
    return meter


@pytest.fixture
def book(company: Company) -> dict[str, Site]:
    """One garden that saves 30 %, one without a meter, one with a single read."""
    location = dry_location()
    sites = {code: garden(code, location) for code in ("CB-01", "CB-02", "CB-03")}
    bills(sites["CB-01"], share_after=0.7, seed=1)
    meter = Meter.objects.create(site=sites["CB-03"], code="M3", kind="irrigation")
    MeterReading.objects.create(
        meter=meter, read_at=datetime(2026, 5, 1, 16, tzinfo=UTC), reading=10.0, unit="m3"
    )
    return sites


def test_saving_of_a_metered_garden_is_told_with_bounds_that_hold_it(book: dict[str, Site]) -> None:
    update = update_ledger(until_day=UNTIL)

    row = LedgerSite.objects.get(site=book["CB-01"])
    months = LedgerMonth.objects.filter(site=book["CB-01"], month__gte=INSTALLED)
    before = sum((month.used_l or 0.0) for month in months) / 0.7
    assert update.judged == 1
    assert row.verdict == ""
    assert row.saved_low_l is not None
    assert row.saved_high_l is not None
    assert row.saved_low_l < 0.3 * before < row.saved_high_l
    assert row.model is not None
    assert row.model["slope"] == pytest.approx(1.5, abs=0.1)


def test_month_says_used_needed_and_saved_of_the_same_days(book: dict[str, Site]) -> None:
    update_ledger(until_day=UNTIL)

    month = LedgerMonth.objects.get(site=book["CB-01"], month=date(2025, 7, 1))
    need = sum(0.8 * eto(date(2025, 7, 1) + timedelta(days=k)) * 200.0 / 0.76 for k in range(31))
    assert month.used_source == "metered"
    assert month.need_l == pytest.approx(need, rel=1e-3)
    assert month.need_good_du_l == pytest.approx(need * 0.76 / 0.85, rel=1e-3)
    assert month.baseline_l == pytest.approx((month.used_l or 0) + (month.saved_l or 0), abs=0.2)


def test_garden_without_enough_data_says_so_and_claims_nothing(book: dict[str, Site]) -> None:
    update_ledger(until_day=UNTIL)

    for code in ("CB-02", "CB-03"):
        row = LedgerSite.objects.get(site=book[code])
        assert row.verdict == "no_metered_use"
        assert row.saved_l is None
    may = LedgerMonth.objects.get(site=book["CB-03"], month=date(2026, 5, 1))
    assert "one_read_only" in may.reasons.split(";")
    assert may.used_l is None


def test_second_run_changes_nothing(book: dict[str, Site]) -> None:
    update_ledger(until_day=UNTIL)
    first = list(LedgerMonth.objects.order_by("site_id", "month").values())
    books = [row.values for row in LedgerPortfolio.objects.all()]

    update_ledger(until_day=UNTIL)

    assert list(LedgerMonth.objects.order_by("site_id", "month").values()) == first
    assert [row.values for row in LedgerPortfolio.objects.all()] == books


def test_only_garden_months_with_new_figures_are_written(book: dict[str, Site]) -> None:
    whole = update_ledger(until_day=UNTIL)
    pks = set(LedgerMonth.objects.values_list("pk", flat=True))
    again = update_ledger(until_day=UNTIL)
    site = next(iter(book.values()))
    row = LedgerMonth.objects.filter(site=site, used_l__isnull=False).order_by("month")[3]
    LedgerMonth.objects.filter(pk=row.pk).update(used_l=1.0, reasons="stale")
    LedgerMonth.objects.filter(site=site, month=FIRST).delete()
    mended = update_ledger(until_day=UNTIL)

    assert whole.written <= whole.months
    assert again.written == 0
    assert mended.written == 2
    assert LedgerMonth.objects.get(pk=row.pk).used_l == row.used_l
    assert len(pks - set(LedgerMonth.objects.values_list("pk", flat=True))) == 1


def test_open_flag_is_the_reason_of_a_garden_over_its_need(book: dict[str, Site]) -> None:
    Flag.objects.create(
        controller=book["CB-01"].controllers.get(),
        cause="stuck_dry",
        raised_on=date(2024, 7, 5),
        closed_on=date(2024, 7, 20),
        probability=0.9,
    )

    update_ledger(until_day=UNTIL)

    july = LedgerMonth.objects.get(site=book["CB-01"], month=date(2024, 7, 1))
    assert july.reasons.split(";")[0] == "sensor_flag:stuck_dry"


def test_sensor_of_unknown_day_is_neither_judged_nor_compared(book: dict[str, Site]) -> None:
    sensor = book["CB-01"].controllers.get().sensor
    sensor.installed_on = None
    sensor.save()

    update_ledger(until_day=UNTIL)

    assert LedgerSite.objects.get(site=book["CB-01"]).verdict == "sensor_date_unknown"


def test_ledger_of_an_empty_book_is_empty(company: Company) -> None:
    assert update_ledger(until_day=UNTIL).summary().startswith("0 sites")


def test_export_has_the_columns_and_one_row_for_the_book(book: dict[str, Site]) -> None:
    update_ledger(until_day=UNTIL)

    rows = list(export.rows(start=date(2025, 6, 1), end=date(2026, 6, 1), period="all"))

    assert [row["site"] for row in rows] == ["CB-01", "CB-02", "CB-03", "ALL"]
    assert all(tuple(row) == export.COLUMNS for row in rows)
    assert rows[0]["saved_low_l"] < rows[0]["saved_l"] < rows[0]["saved_high_l"]  # type: ignore[operator]
    assert rows[0]["ratio"] == pytest.approx(1.05, abs=0.08)
    assert rows[1]["saved_l"] == ""


@pytest.mark.parametrize(
    ("period", "spans"),
    [("day", 92), ("month", 4), ("season", 2), ("all", 1)],
)
def test_periods_cover_the_span_without_gap_or_overlap(period: str, spans: int) -> None:
    found = export.period_spans(start=date(2025, 7, 15), end=date(2025, 10, 15), period=period)

    assert len(found) == spans
    assert (found[0][0], found[-1][1]) == (date(2025, 7, 15), date(2025, 10, 15))
    assert all(a[1] == b[0] for a, b in pairwise(found))


def test_unknown_period_is_refused() -> None:
    with pytest.raises(export.UnknownPeriod, match="week"):
        export.period_spans(start=UNTIL, end=UNTIL, period="week")


def test_managers_page_answers_in_its_first_line(
    book: dict[str, Site], manager: User, sign_in: Callable[[User], Client]
) -> None:
    Tariff.objects.create(
        supplier="Wend Valley Water", starts_on=FIRST, tier_from_m3=0, price_per_m3=2.0, currency="USD"
    )
    Site.objects.filter(code="CB-01").update(name="<script>${1}</script>")
    update_ledger(until_day=UNTIL)
    client = sign_in(manager)

    page = client.get("/water/?month=2025-07-01").content.decode()
    unjudged = client.get("/water/unjudged/").content.decode()
    one = client.get("/water/sites/CB-01/").content.decode()
    file = client.get("/water/ledger.csv?month=2025-07-01")

    assert "In July, 1 metered garden" in page
    assert "<script>$" not in page
    assert "&lt;script&gt;${1}" in page
    assert "no meter reads" in unjudged.lower()
    assert "Since its sensor came on 1\u00a0Apr\u00a02025 it saved" in one
    assert file.content.decode().startswith(",".join(export.COLUMNS))


def test_page_without_a_ledger_says_what_to_do(
    company: Company, manager: User, sign_in: Callable[[User], Client]
) -> None:
    page = sign_in(manager).get("/water/").content.decode()

    assert "Nothing is in the ledger yet" in page
    assert "under Imports" in page


def test_stranger_may_not_see_the_water(
    book: dict[str, Site], stranger: User, sign_in: Callable[[User], Client]
) -> None:
    client = sign_in(stranger)

    pages = ("/water/", "/water/sites/CB-01/", "/water/ledger.csv", "/water/unjudged/")
    assert {client.get(page).status_code for page in pages} == {403}


def test_page_asks_the_database_the_same_few_questions_for_any_number_of_gardens(
    book: dict[str, Site], django_assert_max_num_queries: Callable[..., object]
) -> None:
    update_ledger(until_day=UNTIL)

    with django_assert_max_num_queries(6):  # type: ignore[attr-defined]
        water_page()


def test_kept_months_leave_as_csv_and_as_points_of_a_geopackage(
    book: dict[str, Site], manager: User, sign_in: Callable[[User], Client], tmp_path: Path
) -> None:
    update_ledger(until_day=UNTIL)
    client = sign_in(manager)

    text = client.get("/water/ledger.csv?month=2025-07-01").content.decode().splitlines()
    path = tmp_path / "ledger.gpkg"
    path.write_bytes(client.get("/water/ledger.gpkg?month=2025-07-01").content)

    computed = export.rows(start=date(2025, 7, 1), end=date(2025, 8, 1))
    kept = export.stored_rows(start=date(2025, 7, 1), end=date(2025, 8, 1))
    names = [name for name in export.COLUMNS if name != "reasons"]
    assert [[row[name] for name in names] for row in kept] == [
        [row[name] for name in names] for row in computed
    ]
    assert text[0] == ",".join(export.COLUMNS)
    assert len(text) == 4
    frame = pyogrio.read_dataframe(path, layer="ledger")
    row = frame[frame["site"] == "CB-01"].iloc[0]
    month = LedgerMonth.objects.get(site=book["CB-01"], month=date(2025, 7, 1))
    assert row["used_l"] == pytest.approx(month.used_l)
    assert (row.geometry.x, row.geometry.y) == pytest.approx((-104.7, 41.2))
