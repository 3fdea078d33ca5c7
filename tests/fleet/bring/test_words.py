"""Words, units and ways of writing of somebody else's files: mapped in a form, shown, remembered."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from fleet.models import Company, User
from sites.importing.book.foreign_units import converted, unit_named, units_of
from sites.models import BypassLog, Controller, MeterVolume, Zone
from tests.factories import build_controller, build_sensor, build_site, build_zone
from tests.sites.importing.book_files import box, feature
from weather.models import DailyWeather

SignIn = Callable[[User], Client]


@pytest.fixture
def client(company: Company, dispatcher: User, sign_in: SignIn) -> Client:
    return sign_in(dispatcher)


@pytest.fixture
def controller(company: Company) -> Controller:
    """A garden with a sensor."""
    controller = build_controller(build_site())
    build_zone(controller, 1)
    build_sensor(controller, 1)
    return controller


def send(client: Client, content: bytes, name: str = "theirs.dat") -> str:
    answer = client.post("/bring/", {"file": SimpleUploadedFile(name, content)})
    assert answer.status_code == 302, answer.content
    return str(answer["Location"])


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def form_of(text: str) -> dict[str, str]:
    """What a page's form would send as it stands."""
    told: dict[str, str] = {}
    for name, body in re.findall(r'<select id="[^"]*" name="([^"]+)">(.*?)</select>', text, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected>', body)
        told[unescape(name)] = unescape(chosen.group(1)) if chosen else ""
    return told


def field_of(text: str, label: str) -> str:
    """Name of the field with a label."""
    found = re.search(rf'<label class="vh" for="([^"]+)">{re.escape(label)}</label>', unescape(text))
    assert found, label
    return found.group(1)


def zones(**cells: Any) -> bytes:
    lot = feature("x", box(0, 2), **cells)
    del lot["properties"]["kind"]
    return json.dumps({"type": "FeatureCollection", "features": [lot]}).encode()


BED = {
    "Account": "CB-14", "Clock": "A", "Valve": 2, "Crop": "Bluegrass", "Nozzle": "Sprüher",
    "Precip rate in/hr": 1.5, "Sun": "Halbschatten", "Planted on": "14.06.2024",
}  # fmt: skip
MEANT = {
    "Account": "site", "Clock": "controller", "Valve": "station", "Crop": "plant", "Nozzle": "head",
    "Precip rate in/hr": "precipitation_rate_mm_h", "Sun": "sun", "Planted on": "planted_on",
}  # fmt: skip


def columns(names: list[str], meant: dict[str, str], kind: str) -> dict[str, str]:
    return {"kind-0": kind} | {f"column-0-{n}": meant.get(name, "") for n, name in enumerate(names)}


def test_words_and_units_are_guessed_shown_settled_and_remembered(
    client: Client, controller: Controller
) -> None:
    address = send(client, zones(**BED))
    client.post(f"{address}columns/", columns(list(BED), MEANT, "zone"))

    asked = page(client, address)
    assert "Which words and units does it use?" in asked
    told = form_of(asked)
    assert told[field_of(asked, "Our word for Sprüher in head")] == "fixed_spray"
    assert told[field_of(asked, "Our word for Halbschatten in sun")] == "part"
    assert told[field_of(asked, "Unit of Precip rate in/hr")] == "in/h"
    assert Zone.objects.count() == 1
    told[field_of(asked, "Unit of Planted on")] = "14.06.2026"
    rows = client.post(f"{address}words/", told | {"do": "rows"}, follow=True).content.decode()
    assert '<del class="why">Sprüher</del> fixed_spray' in rows
    assert '<del class="why">1.5</del> 38.1' in rows
    assert '<del class="why">14.06.2024</del> 2024-06-14' in rows
    client.post(f"{address}words/", told)
    assert "<b>1</b> new" in page(client, address)
    client.post(f"{address}save/")

    zone = Zone.objects.get(station=2)
    assert (zone.plant, zone.head, zone.sun) == ("cool_turf", "fixed_spray", "part")
    assert zone.precipitation_rate_mm_h == pytest.approx(38.1)
    assert str(zone.planted_on) == "2024-06-14"

    again = send(client, zones(**(BED | {"Valve": 3})))
    assert "laid out as the last time" in page(client, again)
    client.post(f"{again}columns/", form_of(page(client, again)))
    assert "<b>1</b> new" in page(client, again)  # nothing is asked twice
    other = send(client, zones(**(BED | {"Valve": 4, "Nozzle": "Wundersprenger"})))
    client.post(f"{other}columns/", form_of(page(client, other)))
    assert "Our word for Wundersprenger in head" in page(client, other)


def test_a_word_left_open_refuses_its_rows_by_name(client: Client, controller: Controller) -> None:
    address = send(client, zones(**(BED | {"Nozzle": "Lawn thing"})))
    client.post(f"{address}columns/", columns(list(BED), MEANT, "zone"))
    client.post(f"{address}words/", form_of(page(client, address)))

    told = page(client, address)

    assert "<b>1</b> row refused" in told
    assert "Lawn thing" in told
    assert "Words and units" in told


def test_a_lawn_is_not_guessed_to_be_of_either_season(client: Client, controller: Controller) -> None:
    address = send(client, zones(**(BED | {"Crop": "Lawn"})))
    client.post(f"{address}columns/", columns(list(BED), MEANT, "zone"))

    asked = page(client, address)

    assert form_of(asked)[field_of(asked, "Our word for Lawn in plant")] == ""


def test_a_foreign_table_of_meter_volumes_comes_in(client: Client, controller: Controller) -> None:
    text = "Grundstück;Beginn;Bis;Verbrauch\nCB-14;01.05.2026;08.05.2026;12,5\n\nCB-14;08.05.2026;x;1\n"
    address = send(client, text.encode("cp1252"), "zähler.csv")

    asked = page(client, address)
    assert "parted by semicolons" in asked
    assert "Windows-1252" in asked
    guess = form_of(asked)
    guess["kind-0"] = "meter"
    guess["column-0-0"], guess["column-0-1"] = "site", "start"
    guess["column-0-2"], guess["column-0-3"] = "end", "volume"
    client.post(f"{address}columns/", guess)
    words = page(client, address)
    assert "Not in the file" in words
    told = form_of(words) | {"comma-0": "yes", "fixed-0-unit": "m3"}
    told[field_of(words, "Unit of Beginn")] = told[field_of(words, "Unit of Bis")] = "14.06.2026"
    client.post(f"{address}words/", told)

    look = page(client, address)
    assert "Meter volumes" in look
    assert "zähler.csv" in look
    assert re.search(r'<td class="num">4</td><td class="code">end</td><td>x</td>', look)
    client.post(f"{address}save/", {"good": "yes"})
    volume = MeterVolume.objects.get()
    assert volume.volume_l == pytest.approx(12_500)
    assert str(volume.start) == "2026-05-01"


def test_bypass_logs_under_other_names_are_known_by_them(client: Client, controller: Controller) -> None:
    text = "Property,Clock,Day,Blocked starts,Scheduled,Method\nCB-14,A,06/02/2026,1,4,card\n"
    address = send(client, text.encode(), "log.csv")

    asked = page(client, address)
    assert form_of(asked)["kind-0"] == "bypass"
    client.post(f"{address}columns/", form_of(asked))
    words = page(client, address)
    told = form_of(words)
    told[field_of(words, "Unit of Day")] = "06/14/2026 (month first)"
    told[field_of(words, "Our word for card in method")] = "customer_card"
    client.post(f"{address}words/", told)
    client.post(f"{address}save/")

    log = BypassLog.objects.get()
    assert (str(log.start), log.starts_bypassed, log.method) == ("2026-06-02", 1, "customer_card")


def test_weather_in_fahrenheit_and_inches_becomes_si(client: Client) -> None:
    head = "location,latitude,longitude,elevation (ft),date,Tmin F,Tmax F,rain in,wind mph\n"
    address = send(client, (head + "yard,41.2,-104.7,6000,2026-06-01,50,77,0.5,10\n").encode(), "w.csv")
    asked = form_of(page(client, address))
    assert asked["kind-0"] == "weather"
    asked |= {"column-0-3": "elevation_m", "column-0-5": "tmin_c", "column-0-6": "tmax_c"}
    asked |= {"column-0-7": "rain_mm", "column-0-8": "wind_m_s"}
    client.post(f"{address}columns/", asked)
    client.post(f"{address}words/", form_of(page(client, address)))
    client.post(f"{address}save/")

    day = DailyWeather.objects.get()
    assert (day.tmin_c, day.tmax_c, day.rain_mm) == pytest.approx((10, 25, 12.7), abs=1e-3)


@pytest.mark.parametrize(
    ("theirs", "ours", "unit"),
    [
        ("Area (sq ft)", "area_m2", "ft2"),
        ("area", "area_m2", "m2"),
        ("flow_gpm", "flow_l_min", "gal/min"),
        ("DU %", "distribution_uniformity", "0 to 1"),
        ("du_pct", "distribution_uniformity", "%"),
        ("Root depth in", "root_depth_mm", "in"),
        ("name", "name", ""),
    ],
)
def test_a_unit_is_told_by_the_columns_name_alone(theirs: str, ours: str, unit: str) -> None:
    assert unit_named(theirs, ours) == unit


@pytest.mark.parametrize(
    ("ours", "unit", "cell", "told"),
    [
        ("tmin_c", "°F", "212", "100"),  # water boils
        ("rain_mm", "in", "1", "25.4"),  # 1 in = 25.4 mm, exactly
        ("elevation_m", "ft", "1000", "304.8"),  # 1 ft = 0.3048 m, exactly
        ("area_m2", "ft2", "1000", "92.903"),  # 1 ft2 = 0.09290304 m2, exactly
        ("flow_l_min", "gal/min", "1", "3.78541"),  # 1 US gal = 231 cubic inches
        ("run_min", "h", "0.5", "30"),
        ("run_min", "s", "90", "1.5"),
        ("slope_pct", "0 to 1", "0.04", "4"),
        ("date", "06/14/2026 (month first)", "06/14/2026", "2026-06-14"),
        ("date", "14/06/2026 (day first)", "06/14/2026", "06/14/2026"),
        ("rain_mm", "in", "much", "much"),
        ("rain_mm", "", "12", "12"),
        ("name", "", "12,5", "12,5"),
    ],
)
def test_a_cell_becomes_ours_or_stays_for_its_column_to_refuse(
    ours: str, unit: str, cell: str, told: str
) -> None:
    assert converted(cell, ours, unit) == told


def test_every_unit_that_a_page_offers_is_known() -> None:
    for ours in ("area_m2", "rain_mm", "date", "tmin_c"):
        assert all(isinstance(converted("2", ours, unit), str) for unit in units_of(ours))
    assert converted("12,5", "rain_mm", "mm", has_comma=True) == "12.5"
    assert converted("Okafor, T.", "name", "", has_comma=True) == "Okafor, T."
