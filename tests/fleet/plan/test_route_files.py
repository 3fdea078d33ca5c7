"""Commands of the routes and their exports."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from fleet.exports import findings, needs, routes, visits
from fleet.models import Company, Finding, Stop, Visit
from fleet.services.plan.plan_routes import plan_routes
from tests.factories import DAY, build_need, build_site, build_technician
from tests.fleet.plan.test_streets import write_town

pytestmark = pytest.mark.django_db
EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
WEEK_END = DAY + timedelta(days=7)
# As in the published contract of the files.
ROUTE_COLUMNS = (
    "date,technician,order,site,visit_kinds,arrive,depart,window_from,window_to,drive_min,drive_km,"
    "service_min,value,reason"
)


@pytest.fixture
def week(company: Company) -> None:
    build_technician()
    for number in range(4):
        build_need(build_site(f"CB-{number:02}", longitude=-104.69 + 0.01 * number))
    build_need(build_site("QT-01"), kind="repair", skill="drip")
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)


@pytest.mark.usefixtures("week")
def test_routes_have_the_contracts_columns_a_way_back_breaks_and_reasons() -> None:
    rows = list(routes.rows(start=DAY, end=WEEK_END))

    assert ",".join(routes.COLUMNS) == ROUTE_COLUMNS
    assert all(tuple(row) == routes.COLUMNS for row in rows)
    driven = [row for row in rows if row["technician"]]
    days = {row["date"] for row in driven}
    for day in days:
        own = [row for row in driven if row["date"] == day]
        assert [row["order"] for row in own] == list(range(1, len(own) + 1))
        assert (own[-1]["site"], own[-1]["visit_kinds"]) == ("", "")
        assert [row["visit_kinds"] for row in own].count("break") == 1
    left = [row for row in rows if not row["technician"]]
    assert [(row["site"], row["visit_kinds"]) for row in left] == [("QT-01", "repair")]
    assert "drip" in str(left[0]["reason"])
    assert str(driven[0]["arrive"]).endswith("-06:00")


@pytest.mark.usefixtures("week")
def test_every_export_row_has_its_columns_and_no_contact() -> None:
    stop = Stop.objects.filter(is_break=False)[0]
    assert stop.visit is not None
    Finding.objects.create(
        client_key="k",
        visit=stop.visit,
        stop=stop,
        technician=stop.route.technician,
        recorded_at=EARLY,
        kind="sensor_check",
        verdict="confirmed",
        note="ask Mr. Okafor",
        answers={"a": 1},
    )

    assert all(tuple(row) == needs.COLUMNS for row in needs.rows())
    assert len(list(needs.rows())) == 5
    assert all(tuple(row) == visits.COLUMNS for row in visits.rows(start=DAY, end=WEEK_END))
    assert len(list(visits.rows(start=DAY, end=WEEK_END))) == Visit.objects.count()
    found = list(findings.rows())
    assert tuple(found[0]) == findings.COLUMNS
    assert found[0]["note"] == ""
    assert next(findings.rows(private=True))["note"] == "ask Mr. Okafor"


@pytest.mark.usefixtures("week")
def test_routes_and_needs_export_as_features() -> None:
    shapes = [one["geometry"]["type"] for one in routes.features(start=DAY, end=WEEK_END)]  # type: ignore[index]

    assert "LineString" in shapes
    assert shapes.count("Point") == 4
    assert len(list(needs.features())) == 5


@pytest.mark.usefixtures("week")
def test_the_command_plans_and_ends_with_one_line() -> None:
    out = StringIO()

    call_command("plan_routes", "--date", "2026-06-16", "--seconds", "0.2", "--seed", "3", stdout=out)

    assert out.getvalue().splitlines()[-1].startswith("day 2026-06-16: ")


@pytest.mark.parametrize(
    "arguments",
    [
        ["--week", "2026-06-16"],
        ["--date", "16.6.2026"],
        [],
        ["--week", "2026-06-15", "--date", "2026-06-16"],
        ["--week", "2026-06-15", "--seconds", "0"],
        ["--week", "2026-06-15", "--seed", "-1"],
    ],
    ids=["no-monday", "no-date", "nothing", "both", "no-time", "seed"],
)
def test_unusable_arguments_are_refused(arguments: list[str]) -> None:
    with pytest.raises(CommandError):
        call_command("plan_routes", *arguments)


def test_streets_are_built_by_their_command_and_a_broken_file_leaves_with_one(tmp_path: Path) -> None:
    out = StringIO()
    call_command("build_streets", str(write_town(tmp_path / "town.osm")), stdout=out)
    assert out.getvalue().startswith("9 junctions")

    with pytest.raises(SystemExit) as left:
        call_command("build_streets", str(tmp_path / "none.osm"), stdout=out)

    assert left.value.code == 1


@pytest.mark.usefixtures("week")
def test_planning_over_built_streets_is_no_longer_estimated(tmp_path: Path) -> None:
    call_command("build_streets", str(write_town(tmp_path / "town.osm")), stdout=StringIO())

    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    # The invented streets lie far away: nobody can be reached by road, and each visit says so.
    assert not done.is_estimated
    assert set(Visit.objects.values_list("unserved_code", flat=True)) == {"no_way", "no_skill"}
