"""The pages of the sensor's place: advice, map data, sheet; what the book lacks is said."""

from __future__ import annotations

from collections.abc import Callable

import pytest
import shapely
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User
from sites.models import Controller, Sensor, Structure, ValveBox, Wire, Zone
from sites.models.geometry import bounding_box
from sites.selectors.garden import SETBACK_M, in_metres
from sites.selectors.siting import siting_advice
from tests.factories import build_controller, build_sensor, build_site, build_zone

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]
LON, LAT = -104.7, 41.2
M_LON, M_LAT = 1 / 83_665, 1 / 111_195  # degrees a metre here


def at(x: float, y: float) -> shapely.Point:
    return shapely.Point(LON + x * M_LON, LAT + y * M_LAT)


def box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    low, high = at(west, south), at(east, north)
    return shapely.box(low.x, low.y, high.x, high.y)


@pytest.fixture
def garden(company: Company) -> Controller:
    """A lawn of 20 by 10 m and a strip of 20 by 1 m; house west, a box with spares south-east."""
    site = build_site(name="<i>x</i>")
    controller = build_controller(site, geometry=shapely.to_wkb(at(-2, 0)))
    lawn, strip = box(0, 0, 20, 10), box(0, 12, 20, 13)
    for station, shape in ((1, lawn), (2, strip)):
        zone = build_zone(controller, station, name=f"z{station}", head="rotor")
        Zone.objects.filter(pk=zone.pk).update(geometry=shapely.to_wkb(shape), **bounding_box(shape))
    house = box(-10, 0, 0, 10)
    Structure.objects.create(
        site=site, type="building", fingerprint="h", geometry=shapely.to_wkb(house), **bounding_box(house)
    )
    ValveBox.objects.create(
        site=site, name="Box 1", spare_wires=2, geometry=shapely.to_wkb(at(22, 5)), **bounding_box(at(22, 5))
    )
    return controller


def test_the_advice_is_inside_the_lawn_with_the_shortest_wire_to_the_box(garden: Controller) -> None:
    advice = siting_advice(site=garden.site, controller=garden)

    assert advice.picked is not None
    assert advice.picked.zone.station == 1
    best = advice.points[0]
    assert best.point.edge_m >= SETBACK_M
    assert best.way is not None
    assert best.way.goal.name == "Box 1"
    place = in_metres(shapely.Point(best.longitude, best.latitude), (LON, LAT))
    box_at = in_metres(at(22, 5), (LON, LAT))
    # Nothing stands between: the way is the straight line.
    assert best.way.length_m == pytest.approx(place.distance(box_at), abs=0.05)


def test_spares_that_are_gone_lead_the_wire_to_the_controller(garden: Controller) -> None:
    ValveBox.objects.update(spare_wires=0)

    best = siting_advice(site=garden.site, controller=garden).points[0]

    assert best.way is not None
    assert (best.way.goal.kind, len(best.ways)) == ("controller", 1)
    # The timer hangs on the south wall of the house: the way goes round its corner, not through it.
    assert best.way.blocked_m == pytest.approx(0.0, abs=0.01)
    assert len(best.way.legs) >= 2


def test_a_wire_with_spares_shortens_the_dig(garden: Controller) -> None:
    before = siting_advice(site=garden.site, controller=garden).points[0]
    line = shapely.LineString([at(0, 3), at(22, 3), at(22, 5)])
    Wire.objects.create(
        site=garden.site, fingerprint="w", spare=2, conductors=5, geometry=shapely.to_wkb(line)
    )

    after = siting_advice(site=garden.site, controller=garden).points[0]

    assert before.way is not None
    assert after.way is not None
    assert after.way.trench_m < before.way.trench_m - 2
    assert after.way.spare_m > 5


def test_the_page_the_map_and_the_sheet_tell_the_same_place(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    client, names = sign_in(dispatcher), ["CB-14", "A"]

    page = client.get(reverse("fleet:siting", args=names)).content.decode()
    data = client.get(reverse("fleet:siting-shapes", args=names), {"point": "2"}).json()
    sheet = client.get(reverse("fleet:installation-sheet", args=names), {"point": "2"}).content.decode()

    kinds = [feature["properties"]["kind"] for feature in data["features"]]
    assert kinds.count("advice") == page.count(" of 100</span>")
    planned = [f for f in data["features"] if f["properties"].get("is_planned")]
    assert planned
    second = next(f for f in data["features"] if f["properties"].get("label") == "2")
    longitude, latitude = second["geometry"]["coordinates"]
    assert f"{latitude:.6f}, {longitude:.6f}" in sheet
    assert "Have buried utilities located" in sheet
    assert " style=" not in page + sheet
    assert "<i>x</i>" not in page + sheet


def test_the_sheet_speaks_feet_to_a_us_reader(garden: Controller, dispatcher: User, sign_in: SignIn) -> None:
    User.objects.filter(pk=dispatcher.pk).update(units="us")

    sheet = sign_in(dispatcher).get(reverse("fleet:installation-sheet", args=["CB-14", "A"])).content.decode()

    assert "\u00a0ft" in sheet
    assert "\u00a0m " not in sheet


@pytest.mark.parametrize(
    ("place", "words"),
    [(at(-3, 5), "outside the zone"), (at(0.4, 5), "too near the edge"), (at(10, 5), "")],
    ids=["outside", "near", "well"],
)
def test_a_recorded_sensor_out_of_place_is_reported(
    garden: Controller, dispatcher: User, sign_in: SignIn, place: shapely.Point, words: str
) -> None:
    build_sensor(garden, 1, geometry=shapely.to_wkb(place))

    page = sign_in(dispatcher).get(reverse("fleet:siting", args=["CB-14", "A"])).content.decode()

    for told in ("outside the zone", "too near the edge"):
        assert (told in page) == (told == words)


def test_a_strip_without_room_says_so(garden: Controller, dispatcher: User, sign_in: SignIn) -> None:
    page = sign_in(dispatcher).get(reverse("fleet:siting", args=["CB-14", "A"]), {"zone": "2"})

    assert "No place keeps the setback" in page.content.decode()


def test_what_is_not_drawn_gets_no_place_and_no_sheet(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    controller = build_controller(build_site())
    Zone.objects.create(controller=controller, station=1, plant="shrubs", head="rotor", area_m2=20)
    client = sign_in(dispatcher)

    page = client.get(reverse("fleet:siting", args=["CB-14", "A"]))

    assert "must be drawn" in page.content.decode()
    assert client.get(reverse("fleet:installation-sheet", args=["CB-14", "A"])).status_code == 404
    Sensor.objects.all().delete()
    Zone.objects.all().delete()
    assert "no zones" in client.get(reverse("fleet:siting", args=["CB-14", "A"])).content.decode()


def test_strangers_and_odd_addresses_are_turned_away(
    garden: Controller, stranger: User, dispatcher: User, sign_in: SignIn
) -> None:
    client = sign_in(dispatcher)
    odd = {"zone": "99999", "downhill": "x'", "point": "-1"}
    assert client.get(reverse("fleet:siting", args=["CB-14", "A"]), odd).status_code == 200
    assert client.get(reverse("fleet:siting", args=["CB-14", "Q"])).status_code == 404
    client = sign_in(stranger)
    for name in ("siting", "siting-shapes", "installation-sheet"):
        assert client.get(reverse(f"fleet:{name}", args=["CB-14", "A"])).status_code == 404


def test_the_list_names_sensors_out_of_place_the_worst_first(
    garden: Controller,
    dispatcher: User,
    stranger: User,
    sign_in: SignIn,
    django_assert_max_num_queries: Callable[..., object],
) -> None:
    client, address = sign_in(dispatcher), reverse("fleet:sensor-places")
    assert "Nothing to judge" in client.get(address).content.decode()
    build_sensor(garden, 1, geometry=shapely.to_wkb(at(10, 5)))
    assert "All in place" in client.get(address).content.decode()
    for number, spot in enumerate((at(0.4, 5), at(-3, 5), at(10, 12.5))):
        other = build_controller(garden.site, f"N{number}")
        station = 2 if number == 2 else 1
        zone = build_zone(other, station)
        shape = garden.zones.get(station=station).geometry
        Zone.objects.filter(pk=zone.pk).update(geometry=shape)
        build_sensor(other, station, geometry=shapely.to_wkb(spot))
    build_sensor(build_controller(garden.site, "Q"), 1)

    with django_assert_max_num_queries(12):  # type: ignore[attr-defined]
        page = client.get(address).content.decode()

    assert "<b>3 of 4 sensors</b>" in page
    assert "1 cannot be judged" in page
    assert page.index("outside its zone") < page.index("too near the edge")
    assert page.count("too narrow for the setback") == 1
    assert sign_in(stranger).get(address).status_code == 403
