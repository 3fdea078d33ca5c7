"""Hours and quarters of an hour in a meter file become days of the garden's clock, or are refused by name."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from sites.models import MeterVolume, Site
from sites.services.record_meters import import_meter
from tests.factories import build_site
from weather.importing.rows import ImportReport

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 20)
DENVER = ZoneInfo("America/Denver")


@pytest.fixture
def site(db: None) -> Site:
    """A garden in Denver."""
    return build_site("CB-01", timezone="America/Denver")


def brought(tmp_path: Path, rows: list[str], **asked: bool) -> ImportReport:
    """What an import of rows says."""
    path = tmp_path / "meter.csv"
    path.write_text("site,start,end,volume,unit\n" + "".join(f"CB-01,{row}\n" for row in rows))
    return import_meter(path=path, today=TODAY, **asked)


def hours(first: datetime, count: int, *, litres: float = 2.0) -> list[str]:
    """Rows of an hour each."""
    edges = [(first.astimezone(UTC) + timedelta(hours=k)).isoformat() for k in range(count + 1)]
    return [f"{a},{b},{litres},l" for a, b in pairwise(edges)]


def stored() -> list[tuple[str, str, float]]:
    """First day, day after the last, litres."""
    return [
        (str(a), str(b), v)
        for a, b, v in MeterVolume.objects.order_by("start").values_list("start", "end", "volume_l")
    ]


def test_quarters_of_an_hour_of_the_gardens_clock_become_days(site: Site, tmp_path: Path) -> None:
    edges = [datetime(2026, 6, 1) + timedelta(minutes=15 * k) for k in range(193)]  # noqa: DTZ001 - site-local
    rows = [f"{a.isoformat()},{b.isoformat()},1,l" for a, b in pairwise(edges)]

    report = brought(tmp_path, rows)

    assert (report.problems, report.added) == ((), 2)
    assert stored() == [("2026-06-01", "2026-06-02", 96.0), ("2026-06-02", "2026-06-03", 96.0)]
    assert brought(tmp_path, rows).unchanged == 2


@pytest.mark.parametrize(("on", "count"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25)])
def test_days_on_which_clocks_change_have_as_many_hours_as_they_have(
    site: Site, tmp_path: Path, on: date, count: int
) -> None:
    first = datetime(on.year, on.month, on.day, tzinfo=DENVER)

    assert brought(tmp_path, hours(first, count)).problems == ()
    assert stored() == [(str(on), str(on + timedelta(days=1)), 2.0 * count)]
    assert "from 00:00 to 24:00" in brought(tmp_path, hours(first, 24)[: count - 2]).problems[0].expected


def test_parts_of_days_gaps_and_overlaps_are_refused_and_whole_days_may_be_kept(
    site: Site, tmp_path: Path
) -> None:
    first = datetime(2026, 6, 1, tzinfo=DENVER)
    rows = hours(first, 72)
    gap, overlap = rows[:30] + rows[31:], [*rows, hours(first + timedelta(hours=30, minutes=30), 1)[0]]

    assert brought(tmp_path, hours(first + timedelta(hours=5), 19)).problems[0].row == 2
    assert not MeterVolume.objects.exists()
    for spoilt in (gap, overlap):
        report = brought(tmp_path, spoilt, keep_good=True)
        assert "2026-06-02" in report.problems[0].expected
        assert [row[0] for row in stored()] == ["2026-06-01", "2026-06-03"]
        MeterVolume.objects.all().delete()


def test_midnights_are_days_and_dates_stay_what_they_were(site: Site, tmp_path: Path) -> None:
    assert (
        brought(tmp_path, ["2026-05-01T00:00,2026-06-01T00:00,9,m3", "2026-06-01,2026-07-01,8,m3"]).added == 2
    )
    assert stored() == [("2026-05-01", "2026-06-01", 9000.0), ("2026-06-01", "2026-07-01", 8000.0)]
    assert "a date as 2026-06-14" in brought(tmp_path, ["soon,2026-08-01,8,m3"]).problems[0].expected
    assert "with a time" in brought(tmp_path, ["2026-07-01 nine,2026-08-01,8,m3"]).problems[0].expected
