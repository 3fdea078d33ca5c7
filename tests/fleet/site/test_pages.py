"""The page of one garden, its map data and files, and the list of gardens."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, Route, Stop, User, WatchState
from sites.models import BypassLog, Change, Controller, ProgramLine, ProgramSet, Site
from sites.services.balance import update_balance
from tests.conftest import DAY, NOW
from tests.factories import (
    build_controller,
    build_location,
    build_need,
    build_sensor,
    build_site,
    build_technician,
    build_visit,
    build_zone,
    square,
)
from weather.models import DailyWeather, Location

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]
EVIL = "<script>alert(1)</script>${1}"


@pytest.fixture
def garden(company: Company) -> Controller:
    """A garden of two zones with 60 days of weather, a program and a week of logs; its name is an attack."""
    location = build_location()
    days = [DAY - timedelta(days=n) for n in range(1, 61)]
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location,
            day=day,
            issued=day,
            source="test",
            fetched_at=datetime(2026, 6, 15, tzinfo=UTC),
            eto_mm=6.0,
            eto_sd_mm=0.4,
            rain_mm=0.0,
            rain_used_mm=0.0,
            rain_sd_mm=0.2,
        )
        for day in days
    )
    Location.objects.update(newest_day=days[0])
    site = build_site(location=location, name=EVIL, gate_code="4711")
    controller = build_controller(site)
    build_zone(controller, 1, name=EVIL)
    build_zone(controller, 2, plant="shrubs", head="dripline", name="hedge")
    build_sensor(controller, 1, geometry=square(-104.7 + 0.00024, 41.20004).centroid.wkb)
    setting = ProgramSet.objects.create(controller=controller, as_of=date(2026, 4, 1))
    ProgramLine.objects.create(
        program_set=setting, letter="A", days="daily", starts="04:00", station=1, run_min=4, run_order=1
    )
    BypassLog.objects.bulk_create(
        BypassLog(
            controller=controller,
            start=day,
            end=day + timedelta(days=1),
            starts_scheduled=1,
            starts_bypassed=number % 2,
        )
        for number, day in enumerate(days[:7])
    )
    update_balance(until_day=DAY - timedelta(days=1))
    return controller


def test_the_page_tells_state_zones_water_program_and_history(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    Change.objects.create(
        at=NOW, by="Hana Voss", kind="sensor", key="CB-14/A", site_code="CB-14", action="changed",
        before={"threshold_kpa": 45}, after={"threshold_kpa": 40},
    )  # fmt: skip
    build_need(garden.site)

    page = sign_in(dispatcher).get(reverse("fleet:site", args=["CB-14"])).content.decode()

    assert "drier than allowed" in page
    assert "threshold kpa 45 → 40" in page
    assert "4:00" in page
    assert '<svg class="plot"' in page
    assert page.count('data-site="zone:') == 2
    assert "1 open need" in page


def test_a_name_that_is_code_is_shown_as_text_everywhere(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    client = sign_in(dispatcher)

    for page in (reverse("fleet:site", args=["CB-14"]), reverse("fleet:site-list")):
        text = client.get(page).content.decode()
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert(1)&lt;/script&gt;${1}" in text
    shapes = client.get(reverse("fleet:site-shapes", args=["CB-14"]))
    assert shapes["Content-Type"] == "application/json"


def test_no_page_of_a_garden_carries_inline_styles_or_scripts_without_nonce(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    page = sign_in(dispatcher).get(reverse("fleet:site", args=["CB-14"])).content.decode()

    assert " style=" not in page
    assert "<script>" not in page
    assert "onclick" not in page


def test_map_data_holds_every_thing_with_a_shape(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    data = sign_in(dispatcher).get(reverse("fleet:site-shapes", args=["CB-14"])).json()

    kinds = sorted(feature["properties"]["kind"] for feature in data["features"])
    assert kinds == ["sensor", "setback", "zone", "zone"]
    governing = [f["properties"]["station"] for f in data["features"] if f["properties"].get("is_governing")]
    assert governing == [1]


def test_an_unknown_site_and_a_foreign_one_look_the_same_to_a_technician(
    garden: Controller, stranger: User, sign_in: SignIn
) -> None:
    client = sign_in(stranger)

    for name in ("fleet:site", "fleet:site-shapes", "fleet:site-zones-csv", "fleet:site-water-csv"):
        assert client.get(reverse(name, args=["CB-14"])).status_code == 404
        assert client.get(reverse(name, args=["XX-99"])).status_code == 404


def test_a_technician_opens_a_garden_of_the_own_route(
    garden: Controller, technician_user: User, sign_in: SignIn
) -> None:
    technician = build_technician(user=technician_user)
    visit = build_visit(garden.site)
    route = Route.objects.create(
        technician=technician, day=DAY, start_at=NOW, end_at=NOW + timedelta(hours=8), planned_at=NOW
    )
    Stop.objects.create(route=route, order=1, visit=visit, arrive=NOW, depart=NOW + timedelta(minutes=35))

    page = sign_in(technician_user).get(reverse("fleet:site", args=["CB-14"]))

    assert page.status_code == 200
    assert "Open the visit" in page.content.decode()


def test_the_chosen_zone_and_span_decide_the_plot(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    address = reverse("fleet:site", args=["CB-14"])
    client = sign_in(dispatcher)

    page = client.get(address, {"zone": "A/2", "days": "120"}).content.decode()
    odd = client.get(address, {"zone": "Z/9'", "days": "x"})

    assert "Water in the root zone, hedge" in page
    assert odd.status_code == 200


@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [
        ({"from": "2026-06-01", "to": "2026-06-05"}, "2026-06-01", "2026-06-05"),
        ({"from": "2026-06-05", "to": "2026-06-01"}, "2026-06-01", "2026-06-05"),
        ({"from": "2026-06-10"}, "2026-06-10", "2026-06-14"),
        ({"from": "1990-01-01", "to": "2190-01-01"}, "2026-04-01", "2026-06-14"),
        ({"to": "1990-01-01"}, "2026-03-31", "2026-04-01"),
        ({"from": "soon", "to": "0001-01-01"}, "2026-05-01", "2026-06-14"),
        ({"days": "365"}, "2025-06-15", "2026-06-14"),
    ],
)
def test_any_days_of_the_stored_history_are_shown_and_exported(
    garden: Controller, dispatcher: User, sign_in: SignIn, asked: dict[str, str], first: str, last: str
) -> None:
    client = sign_in(dispatcher)

    page = client.get(reverse("fleet:site", args=["CB-14"]), asked).content.decode()
    rows = client.get(reverse("fleet:site-water-csv", args=["CB-14"]), asked).content.decode().splitlines()

    assert f'name="from" value="{first}"' in page
    assert f'name="to" value="{last}"' in page
    assert f"from={first}&amp;to={last}" in page
    assert rows[1].startswith(first)
    assert rows[-1].startswith(last)


def test_files_hold_the_zones_and_the_days(garden: Controller, dispatcher: User, sign_in: SignIn) -> None:
    client = sign_in(dispatcher)

    zones = client.get(reverse("fleet:site-zones-csv", args=["CB-14"])).content.decode().splitlines()
    days = client.get(reverse("fleet:site-water-csv", args=["CB-14"]), {"days": "10"}).content.decode()

    assert zones[0].startswith("controller,station,name,plant,head,area_m2")
    assert len(zones) == 3
    assert days.splitlines()[-1].startswith("2026-06-14,0.0,4.8")
    assert ",log," in days


def test_cells_that_a_spreadsheet_would_run_are_neutralised(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    garden.zones.filter(station=2).update(name="=1+1")

    text = sign_in(dispatcher).get(reverse("fleet:site-zones-csv", args=["CB-14"])).content.decode()

    assert ",'=1+1," in text


def test_a_bare_site_says_what_to_do_next(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    Site.objects.create(code="ZZ-01", name="Bare", timezone="America/Denver", imported_on=DAY)

    page = sign_in(dispatcher).get(reverse("fleet:site", args=["ZZ-01"])).content.decode()

    assert "No zones yet" in page
    assert "No map yet" in page
    assert "No balance yet" in page


def test_the_list_finds_by_words_and_filters_by_state(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    build_site("DD-02", name="Dray garden", customer="H. Dray")
    WatchState.objects.create(controller=garden, as_of=DAY, status="flag", cause="reads_wet")
    client, address = sign_in(dispatcher), reverse("fleet:site-list")

    everything = client.get(address).content.decode()
    flagged = client.get(address, {"show": "act"}).content.decode()
    found = client.get(address, {"q": "dray"}).content.decode()
    nothing = client.get(address, {"q": "nobody"}).content.decode()

    assert everything.index("CB-14") < everything.index("DD-02")
    assert "reads wet" in flagged
    assert "DD-02" not in flagged
    assert "CB-14" not in found
    assert "No garden" in nothing


def test_the_list_asks_as_many_questions_for_forty_sites_as_for_two(
    garden: Controller,
    dispatcher: User,
    sign_in: SignIn,
    django_assert_max_num_queries: Callable[..., object],
) -> None:
    for number in range(40):
        build_zone(build_controller(build_site(f"EE-{number:02d}")))
    client = sign_in(dispatcher)

    with django_assert_max_num_queries(20):  # type: ignore[attr-defined]
        client.get(reverse("fleet:site-list"))
