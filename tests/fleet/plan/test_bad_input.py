"""What cannot be planned is named on its visit and on the week's page; everything else is planned."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from fleet.calc.plan.travel import CIRCUITY_WORDS
from fleet.calc.visits.settings import VisitSettings
from fleet.models import Company, Stop, Technician, User, Visit
from fleet.services.plan.plan_routes import plan_routes
from fleet.services.plan.streets import build_streets
from fleet.streets.osm_file import UnreadableStreets
from fleet.streets.store import network_path, travel_source
from fleet.streets.travel_source import EstimatedTravel
from sites.models import Site
from tests.factories import DAY, build_need, build_site, build_technician
from tests.fleet.plan.test_streets import STEP, write_town

EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
NIGHT = datetime(2026, 6, 16, 9, 0, tzinfo=UTC)  # three in the morning in the company's zone


def codes() -> dict[str, str]:
    return dict(Visit.objects.values_list("site__code", "unserved_code"))


def on_the_page(client: Client) -> str:
    client.force_login(User.objects.create_user("hana", role="dispatcher"))
    return client.get(reverse("fleet:week"), {"week": DAY.isoformat()}).content.decode()


@pytest.mark.django_db
def test_without_anybody_to_drive_each_visit_and_the_page_say_so(company: Company, client: Client) -> None:
    build_need(build_site("CB-01"))

    plan_routes(now=EARLY, week=DAY, seed=1, iterations=10)

    assert codes() == {"CB-01": "no_technician"}
    page = on_the_page(client)
    assert "Nobody is at work in this span." in page
    assert "Nobody to drive yet" in page


@pytest.mark.django_db
def test_windows_that_nobody_can_keep_are_named_and_the_rest_is_planned(
    company: Company, client: Client
) -> None:
    build_technician()
    for n in range(3):
        site = build_site(f"NI-{n}", longitude=-104.69)
        build_need(site, earliest=NIGHT, latest=NIGHT + timedelta(minutes=30))

    assert plan_routes(now=EARLY, week=DAY, seed=1, iterations=10).visits == 0
    assert set(codes().values()) == {"no_window"}
    build_need(build_site("OK-1", longitude=-104.68))
    assert plan_routes(now=EARLY, week=DAY, seed=1, iterations=10).visits == 1
    assert "Its hours lie outside every shift" in on_the_page(client)


@pytest.mark.django_db
def test_two_locked_visits_that_clash_leave_one_out_by_name(company: Company, client: Client) -> None:
    build_technician("T1", workdays="mon")
    for n in range(2):
        build_need(build_site(f"LK-{n}", longitude=-104.69 + 0.01 * n), service_min=60)
    build_need(build_site("OK-1", longitude=-104.66))
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=10)
    start = datetime(2026, 6, 15, 16, 0, tzinfo=UTC)
    Visit.objects.filter(site__code__startswith="LK").update(
        is_locked=True,
        state="told",
        told_at=EARLY,
        window_from=start,
        window_to=start + timedelta(minutes=5),
    )

    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=10)

    assert (done.visits, done.unserved, done.told, done.told_lost, done.told_moved) == (2, 1, 2, 1, 0)
    left = Visit.objects.exclude(unserved_code="").get()
    assert left.unserved_code == "lock_clash"
    assert Stop.objects.filter(visit__site__code="OK-1").exists()
    assert "Locked visits and promised hours leave no room" in on_the_page(client)


@pytest.mark.django_db
def test_an_island_without_road_and_a_site_without_point_are_named_and_the_rest_is_planned(
    company: Company, client: Client, tmp_path: Path
) -> None:
    call_command("build_streets", str(write_town(tmp_path / "town.osm")), stdout=StringIO())
    build_technician()
    Technician.objects.update(
        start_latitude=41.0, start_longitude=-104.0, end_latitude=41.0, end_longitude=-104.0
    )
    build_need(build_site("RD-1", latitude=41 + 2 * STEP, longitude=-104 + 2 * STEP))
    build_need(build_site("IS-1", latitude=41.2, longitude=-104.2))
    build_need(build_site("NP-1"))
    Site.objects.filter(code="NP-1").update(latitude=None, longitude=None)

    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=10)

    assert codes() == {"RD-1": "", "IS-1": "no_way", "NP-1": "no_coordinates"}
    assert (done.visits, done.is_estimated) == (1, False)
    page = on_the_page(client)
    assert "No road leads there" in page
    assert "The site has no coordinates" in page


@pytest.mark.parametrize("kept", [0.2, 0.5, 0.9])
def test_a_road_file_that_is_cut_off_is_named_and_leaves_the_old_network(tmp_path: Path, kept: float) -> None:
    whole = write_town(tmp_path / "town.osm")
    build_streets(path=whole, data_dir=tmp_path)
    before = network_path(tmp_path).read_bytes()
    cut = tmp_path / "cut.osm"
    cut.write_bytes(whole.read_bytes()[: round(len(whole.read_bytes()) * kept)])

    with pytest.raises(UnreadableStreets, match=r"cut\.osm"):
        build_streets(path=cut, data_dir=tmp_path)

    assert network_path(tmp_path).read_bytes() == before
    assert not list(network_path(tmp_path).parent.glob("*.part*"))


def test_estimated_times_say_their_factor_and_its_source() -> None:
    assert CIRCUITY_WORDS in EstimatedTravel(VisitSettings()).words
    own = EstimatedTravel(VisitSettings(circuity=1.45)).words
    assert "x 1.45 (the company's own factor)" in own
    if not network_path(Path(settings.DATA_DIR)).is_file():
        assert "Boeing 2019" in travel_source(settings=VisitSettings()).words
