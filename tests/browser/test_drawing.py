"""Drawing a garden as a person does it: in a real Chromium, by mouse, by keys, on a phone, two at once."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import numpy as np
import pytest
import shapely

from fleet.models import Company, User
from sites.calc.geometry.areas import area_m2, as_array
from sites.models import Change, Controller, ProgramLine, ProgramSet, Sensor, Site, Zone
from sites.models.geometry import bounding_box
from tests.browser.test_pages_in_chromium import PASSWORD, Visitor, chromium, pytestmark
from tests.conftest import DAY
from tests.factories import build_controller, build_sensor, build_site, build_zone

__all__ = ["chromium", "pytestmark"]
SCREEN = (1440, 900)
PATH = "/sites/CB-14/draw/"


@pytest.fixture
def garden(transactional_db: None) -> Site:
    """A lot of 58 by 33 m with two zones beside each other, a sensor in the first, and two people."""
    Company.objects.create(
        pk=1, name="Marlow & Finch", timezone="America/Denver", demo_today=DAY, depot_latitude=41.2,
        depot_longitude=-104.7,
    )  # fmt: skip
    for login in ("hana", "omar"):
        User.objects.create_user(username=login, password=PASSWORD, role=User.Role.DISPATCHER)
    site = build_site()
    lot = shapely.box(-104.7000, 41.1999, -104.6993, 41.2002)
    Site.objects.filter(pk=site.pk).update(geometry=shapely.to_wkb(lot), **bounding_box(lot))
    controller = build_controller(site)
    build_zone(controller, 1)
    build_zone(controller, 2)
    middle = shapely.Point(-104.69975, 41.20005)
    build_sensor(controller, 1, geometry=shapely.to_wkb(middle), **bounding_box(middle))
    return site


def visitor(chromium: Any, live_server: Any, login: str = "hana", size: tuple[int, int] = SCREEN) -> Visitor:
    person = Visitor(chromium, live_server.url, login, size)
    person.page.on("dialog", lambda dialog: dialog.accept())
    person.open(PATH)
    person.page.wait_for_selector("#draw-map[data-ready=yes]")
    return person


def at(page: Any, lon: float, lat: float) -> tuple[float, float]:
    """Where a place is on the screen."""
    point = page.evaluate(
        "([lon, lat]) => { const p = Rootround.drawing.map.latLngToContainerPoint([lat, lon]);"
        " const b = document.getElementById('draw-map').getBoundingClientRect();"
        " return [b.x + p.x, b.y + p.y]; }",
        [lon, lat],
    )
    return float(point[0]), float(point[1])


def click_at(page: Any, lon: float, lat: float) -> None:
    page.mouse.click(*at(page, lon, lat))


def pull(page: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*at(page, *start))
    page.mouse.down()
    page.mouse.move(*at(page, *end), steps=6)
    page.mouse.up()


def save(page: Any) -> str:
    page.click("#draw-save")
    page.wait_for_selector("#draw-save[aria-busy=false]", state="attached")
    return str(page.inner_text("#draw-status"))


def first_corner(page: Any) -> tuple[float, float]:
    """Longitude and latitude of the first corner of what is chosen."""
    lon, lat = page.evaluate(
        "(() => { const d = Rootround.drawing;"
        " return d.store.state.get(d.view.chosen).geo.parts[0][0][0]; })()"
    )
    return float(lon), float(lat)


def choose(page: Any, words: str) -> None:
    page.click(f".pickthing:has-text('{words}')")


def east(zone: Zone) -> float:
    shape = zone.shape
    assert shape is not None
    return float(shape.bounds[2])


def test_a_zone_is_drawn_measured_told_of_and_saved(garden: Site, live_server: Any, chromium: Any) -> None:
    hana = visitor(chromium, live_server)
    page = hana.page
    page.click("#draw-bar [data-do=zone]")
    for corner in (
        (-104.699496, 41.200004),
        (-104.69935, 41.20000),
        (-104.69935, 41.20010),
        (-104.699504, 41.200097),
    ):
        click_at(page, *corner)
    page.keyboard.press("Enter")
    page.fill("#f-name", "herb bed")
    page.select_option("#f-plant", "annuals")
    page.select_option("#f-head", "dripline")
    live = float(page.inner_text("#area-live").split()[0])
    assert "overlap" not in page.inner_text("#draw-panel")
    assert page.input_value("#f-station") == "3"
    assert page.get_attribute("#f-precipitation_rate_mm_h", "placeholder") == "15.2 mm/h"

    assert "Saved: 1 change" in save(page)

    zone = Zone.objects.get(station=3)
    assert zone.min_lon == -104.6995  # both corners snapped to zone 2 beside it
    assert (zone.name, zone.plant, zone.head) == ("herb bed", "annuals", "dripline")
    assert live == pytest.approx(float(area_m2(as_array([zone.shape]))[0]), rel=0.01)
    exact = page.evaluate(
        "id => { const d = Rootround.drawing, t = d.store.state.get(id);"
        " return Rootround.Draw.area(t.geo.parts.map(p => p.map(r => r.map(d.ground.xy)))) }",
        f"zone-{zone.pk}",
    )
    assert exact == pytest.approx(zone.area_m2, rel=1e-4)
    assert hana.violations() == []
    assert hana.complaints == []


def test_a_corner_is_dragged_undone_and_redone(garden: Site, live_server: Any, chromium: Any) -> None:
    page = visitor(chromium, live_server).page
    choose(page, "2 zone 2")
    before = Zone.objects.get(station=2).shape
    assert before is not None
    pull(page, (-104.6995, 41.2001), (-104.69945, 41.20015))
    assert "Save 1 change" in page.inner_text("#draw-save")
    page.keyboard.press("Control+z")
    assert page.inner_text("#draw-save") == "Saved"
    page.keyboard.press("Control+y")
    save(page)

    after = Zone.objects.get(station=2).shape
    assert after is not None
    assert after.area > before.area * 1.1
    entry = Change.objects.get()
    assert entry.before is not None
    assert set(entry.before) == {"geometry", "area_m2"}


def test_arrow_keys_move_a_corner_by_ten_centimetres_and_a_device_by_a_metre(
    garden: Site, live_server: Any, chromium: Any
) -> None:
    page = visitor(chromium, live_server).page
    choose(page, "2 zone 2")
    page.focus("#draw-map")
    page.keyboard.press("n")
    lon, lat = first_corner(page)
    for _ in range(3):
        page.keyboard.press("ArrowUp")
    moved = first_corner(page)
    assert (moved[1] - lat) * 111_060 == pytest.approx(0.3, abs=0.01)
    assert moved[0] == pytest.approx(lon)
    page.keyboard.press("Control+z")
    assert page.inner_text("#draw-save") == "Saved"  # steps that follow each other at once are one

    page.click("summary:has-text('Sensors')")
    choose(page, "sensor of A")
    page.focus("#draw-map")
    page.keyboard.press("Shift+ArrowRight")
    save(page)
    shape = Sensor.objects.get().shape
    assert shape is not None
    assert (shape.centroid.x + 104.69975) * 83_800 == pytest.approx(1.0, abs=0.03)


def test_a_zone_is_cut_in_two_with_a_line(garden: Site, live_server: Any, chromium: Any) -> None:
    page = visitor(chromium, live_server).page
    whole = Zone.objects.get(station=1).area_m2
    choose(page, "1 zone 1")
    page.click("#draw-bar [data-do=cut]")
    click_at(page, -104.69985, 41.20004)
    click_at(page, -104.69965, 41.20004)
    page.keyboard.press("Enter")
    assert "Cut in two" in page.inner_text("#draw-status")
    save(page)

    parts = [Zone.objects.get(station=station).area_m2 for station in (1, 3)]
    assert sum(parts) == pytest.approx(whole, rel=0.01)
    assert Zone.objects.get(station=3).plant == "cool_turf"


def test_a_crossing_edge_is_told_while_drawing_and_by_the_server(
    garden: Site, live_server: Any, chromium: Any
) -> None:
    page = visitor(chromium, live_server).page
    choose(page, "2 zone 2")
    pull(page, (-104.6996, 41.2001), (-104.69945, 41.20003))
    assert "crosses itself" in page.inner_text("#draw-panel")
    told = save(page)

    assert "Not saved" in told
    assert page.inner_text("#draw-panel .problems").count("self-crossing") == 1
    assert Change.objects.count() == 0


def test_two_wires_change_places_and_the_label_says_so(garden: Site, live_server: Any, chromium: Any) -> None:
    program = ProgramSet.objects.create(controller=Controller.objects.get(), as_of=date(2026, 4, 1))
    ProgramLine.objects.create(
        program_set=program, letter="A", days="daily", starts="04:00", station=1, run_min=9, run_order=1
    )
    hana = visitor(chromium, live_server)
    hana.open("/sites/CB-14/A/exchange/")
    assert hana.violations() == []
    with hana.page.expect_navigation():
        hana.page.click("text=Note the exchange")
    hana.page.wait_for_load_state("networkidle")

    label = hana.page.inner_text(".lid")
    assert re.search(r"2\s+zone 1\s+sensor here", label)
    assert "wires exchanged" in label
    assert hana.violations() == []
    hana.open("/sites/CB-14/A/exchange/")
    with hana.page.expect_navigation():
        hana.page.click("text=Take back the exchange")
    hana.page.wait_for_load_state("networkidle")
    assert Zone.objects.get(station=1).name == "zone 1"
    assert hana.complaints == []


def test_a_reader_of_feet_and_inches_gives_and_sees_them(
    garden: Site, live_server: Any, chromium: Any
) -> None:
    User.objects.filter(username="hana").update(units="us")
    Controller.objects.update(assumed="gating minute_step")
    page = visitor(chromium, live_server).page
    choose(page, "1 zone 1")
    page.fill("#f-precipitation_rate_mm_h", "0.5")
    page.keyboard.press("Tab")
    page.click("summary:has-text('Controllers')")
    choose(page, "controller A")
    page.click("[aria-label='The sensor: it is so']")
    assert "Saved: 2 changes" in save(page)
    choose(page, "1 zone 1")

    zone = Zone.objects.get(station=1)
    assert zone.precipitation_rate_mm_h == pytest.approx(12.7)
    assert page.input_value("#f-precipitation_rate_mm_h") == "0.5"
    assert "1\u2009003 ft²" in page.inner_text("#area-live")
    assert Controller.objects.get().assumed == "minute_step"


def test_areas_overlaps_and_cuts_of_the_page_agree_with_an_independent_library(
    garden: Site, live_server: Any, chromium: Any
) -> None:
    """The reference is GEOS, through shapely, on random stars with a hole."""
    page = visitor(chromium, live_server).page
    random = np.random.default_rng(11)

    def star(x: float, y: float) -> list[list[list[float]]]:
        turns = np.sort(random.uniform(0, 2 * np.pi, 11))
        reach = random.uniform(6, 14, 11)
        ring = np.column_stack([x + reach * np.cos(turns), y + reach * np.sin(turns)])
        return [ring.tolist(), [[x - 1, y - 1], [x + 1, y - 1], [x + 1, y + 1], [x - 1, y + 1]]]

    for _ in range(25):
        one, other = star(0, 0), star(*random.uniform(-12, 12, 2))
        first, second = (shapely.Polygon(part[0], part[1:]) for part in (one, other))
        if not (first.is_valid and second.is_valid):
            continue
        told = page.evaluate(
            "([a, b]) => [Rootround.Draw.area([a]), Rootround.Draw.overlap([a], [b]),"
            " Rootround.Draw.crossing([a]) === null,"
            " Rootround.Draw.cut([a[0]], [[-40, 3], [0, 2.5], [40, 3]])]",
            [one, other],
        )
        assert told[0] == pytest.approx(first.area)
        assert told[1] == pytest.approx(first.intersection(second).area, abs=1e-6)
        assert told[2]
        if told[3]:
            pieces = [shapely.Polygon(piece[0]) for piece in told[3]]
            whole = shapely.Polygon(one[0])
            assert sum(piece.area for piece in pieces) == pytest.approx(whole.area, rel=1e-3)
            assert pieces[0].intersection(pieces[1]).area < 0.01
