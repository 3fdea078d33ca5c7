"""Pages around the weather: a day in doubt, orders of sources, a question about published ET, the pull."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.test import Client

from fleet.models import Company, StageRun, User
from sites.models import (
    BalanceMonth,
    Change,
    Controller,
    ProgramLine,
    ProgramSet,
    Recommendation,
    Site,
)
from sites.selectors.balance import balance_days
from sites.services.balance import update_balance
from sites.services.doubt_programs import moved_programs
from sites.services.weather_doubt import doubt_day
from tests.factories import build_controller, build_site, build_zone
from tests.weather.new_days import DAY, FORD, HILL, new_day, run_of_days
from weather.calc.tall_reference import TallMonth
from weather.models import DailyWeather, Location, ReferenceQuestion, SourceOrder
from weather.services.record_daily_weather import record_daily_weather
from weather.services.reference_questions import ask_about_reference

NOW = datetime(2026, 6, 16, 6, tzinfo=UTC)
ONE = timedelta(days=1)
SignIn = Callable[[User], Client]

pytestmark = pytest.mark.django_db


def words(html: str) -> str:
    """What a reader sees, on one line."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.fixture
def town() -> Controller:
    """Two gardens under one location, one of them with a gauge of its own nearby; a third under another."""
    days = [*run_of_days(100, FORD), *run_of_days(100, HILL)]
    record_daily_weather(days=days, source="file a.csv", now=NOW)
    ford, hill = (Location.objects.get(name=place.name) for place in (FORD, HILL))
    controllers = [
        build_controller(build_site("CB-1", location=ford), governed=False),
        build_controller(build_site("CB-2", location=ford, rain_location=hill), governed=True),
        build_controller(build_site("CB-3", location=hill)),
    ]
    for controller in controllers:
        build_zone(controller, 1)
        build_zone(controller, 2, plant="shrubs")
        setting = ProgramSet.objects.create(controller=controller, as_of=DAY - 60 * ONE)
        for station in (1, 2):
            ProgramLine.objects.create(
                program_set=setting, letter="A", days="odd", starts="04:00", station=station, run_min=10,
                run_order=station,
            )  # fmt: skip
    update_balance(until_day=DAY)
    return controllers[0]


def ford() -> int:
    return Location.objects.get(name=FORD.name).pk


@pytest.mark.parametrize(
    ("revised", "sites"),
    [
        pytest.param({"place": FORD, "tmax_c": 33.0}, 2, id="temperature of the first two gardens"),
        pytest.param({"place": HILL, "rain_mm": 9.0}, 2, id="rain of the second and the third"),
        pytest.param({"place": FORD, "rh_max_pct": 91.0, "rh_min_pct": 30.0}, 0, id="nothing that is used"),
    ],
)
def test_a_late_revision_is_computed_again_where_it_counts_and_nowhere_else(
    town: Controller, revised: dict[str, Any], sites: int
) -> None:
    assert update_balance(until_day=DAY).zone_days == 0

    record_daily_weather(days=[new_day(day=DAY - 3 * ONE, **revised)], source="file b.csv", now=NOW)
    update = update_balance(until_day=DAY)

    # Two zones each, from the first of June to the 15th.
    assert (update.sites, update.zone_days) == (sites, sites * 2 * 15)
    assert update_balance(until_day=DAY).zone_days == 0


def test_a_shower_that_was_missed_moves_the_gardens_that_take_the_rain(town: Controller) -> None:
    before = list(BalanceMonth.objects.order_by("pk").values())

    got = doubt_day(location_id=ford(), day=DAY - ONE, rain_mm=6.0, reference_et_mm=None)

    # The second garden takes its rain elsewhere, the third all of its weather.
    assert (got.sites, got.last_day) == (2, DAY)
    assert [row.code for row in got.moved] == ["CB-1"]
    assert got.moved[0].change_mm < -1.0
    assert got.moved[0].extra_min < 0.0
    assert got.litres < 0.0
    assert list(BalanceMonth.objects.order_by("pk").values()) == before


def test_the_answer_is_what_the_balance_then_says(town: Controller) -> None:
    zone = town.zones.get(station=1)
    got = doubt_day(location_id=ford(), day=DAY - 3 * ONE, rain_mm=9.0, reference_et_mm=7.5)
    row = next(one for one in got.moved if one.code == "CB-1")

    DailyWeather.objects.filter(location_id=ford(), day=DAY - 3 * ONE).update(rain_used_mm=9.0, eto_mm=7.5)
    Location.objects.filter(pk=ford()).update(stale_from=DAY - 3 * ONE)
    update_balance(until_day=DAY)

    ids = [zone.pk, town.zones.get(station=2).pk]
    after = balance_days(zone_ids=ids, start=DAY, end=DAY + ONE).depletion_mm[0]
    assert row.depletion_then_mm == pytest.approx(after[row.station - 1], abs=1e-4)


def test_runs_that_nobody_knows_are_the_same_under_both_weathers(town: Controller) -> None:
    ProgramSet.objects.all().delete()
    Site.objects.update(stale_from=DAY - 60 * ONE)
    update_balance(until_day=DAY)

    got = doubt_day(location_id=ford(), day=DAY - ONE, rain_mm=6.0, reference_et_mm=None)

    assert all(row.change_mm < 0 for row in got.moved)


def test_another_et_moves_both_gardens_of_the_location(town: Controller) -> None:
    got = doubt_day(location_id=ford(), day=DAY, rain_mm=None, reference_et_mm=9.0)

    assert sorted(row.code for row in got.moved) == ["CB-1", "CB-2"]
    assert all(row.change_mm > 0 for row in got.moved)
    assert [row.is_governed for row in sorted(got.moved, key=lambda one: one.code)] == [False, True]


def test_a_day_as_it_is_stored_moves_nothing(town: Controller) -> None:
    got = doubt_day(location_id=ford(), day=DAY, rain_mm=None, reference_et_mm=None)

    assert (got.sites, got.moved, got.worst_on_the_way_mm) == (2, (), 0.0)


def test_a_day_before_every_balance_moves_no_garden(town: Controller) -> None:
    got = doubt_day(location_id=ford(), day=DAY - 300 * ONE, rain_mm=5.0, reference_et_mm=None)

    assert (got.sites, got.last_day) == (0, None)


def test_the_page_tells_it_in_words(town: Controller, dispatcher: User, sign_in: SignIn) -> None:
    address = f"/weather/locations/{ford()}/{DAY - ONE}/"

    plain = words(sign_in(dispatcher).get(address).content.decode())
    asked = words(sign_in(dispatcher).get(address, {"rain": "6", "eto": ""}).content.decode())

    assert "Of 2 gardens that take this day, none would stand otherwise" in plain
    assert "Of 2 gardens that take this day, 1 would stand otherwise on 15 Jun" in asked.replace("\xa0", " ")
    assert "CB-1" in asked
    assert "Clock only." in asked
    assert "program" in asked.partition("Weekly round")[2]


def test_the_round_is_run_twice_for_what_moved_and_writes_nothing(town: Controller) -> None:
    Controller.objects.update(governed=False)
    dry = doubt_day(location_id=ford(), day=DAY, rain_mm=None, reference_et_mm=30.0)
    same = [replace(row, zones_then_mm={}) for row in dry.moved]

    moved = moved_programs(sites=dry.moved, last_day=DAY, price_per_m3=3.0)
    still = moved_programs(sites=same, last_day=DAY, price_per_m3=3.0)

    assert set(moved) == set(still) == {row.site_id for row in dry.moved}
    assert all((move.controllers, move.changed) == (1, 0) for move in still.values())
    assert all(move.minutes_week == move.minutes_week_then for move in still.values())
    # A day of 30 mm would have emptied the lawns: the round asks for more minutes.
    for move in moved.values():
        assert move.changed == 1
        assert (move.minutes_week_then or 0.0) > (move.minutes_week or 999.0)
    assert not Recommendation.objects.exists()
    assert moved_programs(sites=(), last_day=DAY, price_per_m3=3.0) == {}


def test_the_page_takes_inches(town: Controller, dispatcher: User, sign_in: SignIn) -> None:
    dispatcher.units = "us"
    dispatcher.save()
    address = f"/weather/locations/{ford()}/{DAY - ONE}/"

    inches = sign_in(dispatcher).get(address, {"rain": "0.25"}).context["doubt"]

    expected = doubt_day(location_id=ford(), day=DAY - ONE, rain_mm=6.35, reference_et_mm=None)
    assert inches.litres == pytest.approx(expected.litres)


@pytest.mark.parametrize("rain", ["-1", "wet", "501", "nan", "1e999"])
def test_a_depth_that_is_none_is_told_at_its_field(
    town: Controller, dispatcher: User, sign_in: SignIn, rain: str
) -> None:
    got = sign_in(dispatcher).get(f"/weather/locations/{ford()}/{DAY}/", {"rain": rain})

    text = words(got.content.decode())
    assert got.status_code == 200
    assert "A depth between 0 and 500.0" in text
    assert got.context["doubt"] is None


@pytest.mark.parametrize("day", ["2026-02-30", "yesterday", "1999-01-01"])
def test_a_day_that_is_none_is_not_found(
    town: Controller, dispatcher: User, sign_in: SignIn, day: str
) -> None:
    assert sign_in(dispatcher).get(f"/weather/locations/{ford()}/{day}/").status_code == 404


def test_the_order_of_sources_is_set_kept_and_taken_back(
    dispatcher: User, manager: User, sign_in: SignIn
) -> None:
    for source, rain in (("ncei", 0.0), ("nasa_power", 7.0)):
        record_daily_weather(days=[new_day(rain_mm=rain)], source=source, now=NOW)
    client = sign_in(dispatcher)
    form = {"variable": "rain", "location": str(ford()), "for": "this", "source": ["nasa_power", "ncei", ""]}

    got = client.post("/weather/order/", form, follow=True)

    assert DailyWeather.objects.get().rain_used_mm == 7.0
    assert "1 days at 1 locations were put together anew" in words(got.content.decode())
    assert "set for this location" in words(got.content.decode())
    change = Change.objects.get()
    assert (change.kind, change.key, change.by) == ("source_order", "Alder Ford/rain", dispatcher.username)
    assert change.after == {"sources": "nasa_power ncei"}

    client.post("/weather/order/", {**form, "default": "1"})

    assert not SourceOrder.objects.exists()
    assert DailyWeather.objects.get().rain_used_mm == 0.0
    assert Change.objects.count() == 2
    client.post("/weather/order/", {**form, "source": ["", ""]})
    client.post("/weather/order/", {**form, "location": "999999"})
    assert not SourceOrder.objects.exists()
    assert sign_in(manager).post("/weather/order/", form).status_code == 403


def test_a_question_about_published_et_is_answered_on_the_page(dispatcher: User, sign_in: SignIn) -> None:
    record_daily_weather(days=run_of_days(3), source="file a.csv", now=NOW)
    ask_about_reference(months=[TallMonth(FORD.name, "2026-05", 1.28)], file="a.csv", now=NOW)
    client = sign_in(dispatcher)
    asked = words(client.get("/weather/").content.decode())
    assert "is the published ET of a.csv the tall (alfalfa) reference?" in asked
    assert "2026-05 1.28 times" in asked

    answered = client.post(f"/weather/locations/{ford()}/reference/", {"answer": "tall"}, follow=True)

    text = words(answered.content.decode())
    assert "is the published ET of" not in text
    assert "tall (alfalfa) reference, says hana" in text
    assert ReferenceQuestion.objects.get().answer == "tall"
    assert Change.objects.get().kind == "reference_question"
    assert client.post(f"/weather/locations/{ford()}/reference/", {"answer": "maybe"}).status_code == 404


def test_the_map_holds_every_location_with_its_state(dispatcher: User, sign_in: SignIn) -> None:
    record_daily_weather(days=run_of_days(5), source="file a.csv", now=NOW)
    record_daily_weather(days=run_of_days(5, HILL, end=DAY - 3 * ONE), source="file a.csv", now=NOW)
    Location.objects.create(name="<b>Empty</b>", latitude=41.3, longitude=-104.6, elevation_m=1500.0)

    marks = sign_in(dispatcher).get("/map/locations.json").json()["sites"]

    assert marks == [
        ["<b>Empty</b>", -104.6, 41.3, "few", "never measured"],
        ["Alder Ford", -104.7, 41.2, "ok", "in order"],
        ["Alder Hill", -104.7, 41.25, "watch", "3 days late"],
    ]
    html = sign_in(dispatcher).get("/weather/").content.decode()
    assert 'data-site="&lt;b&gt;Empty&lt;/b&gt;"' in html
    assert "<b>Empty</b>" not in html


def test_neighbours_and_scores_stand_on_the_page(dispatcher: User, sign_in: SignIn) -> None:
    record_daily_weather(days=run_of_days(40, FORD), source="file a.csv", now=NOW)
    hill = run_of_days(40, HILL, tmin_c=20.0, tmax_c=36.0)
    record_daily_weather(days=hill, source="file a.csv", now=NOW)
    foretold = [new_day(day=DAY - 2 * ONE + n * ONE, issued=DAY - 2 * ONE) for n in range(5)]
    record_daily_weather(days=foretold, source="nws", now=NOW)

    page = sign_in(dispatcher).get(f"/weather/?location={ford()}")

    text = words(page.content.decode())
    (neighbour,) = page.context["neighbours"]
    assert (neighbour.name, neighbour.days, neighbour.is_odd) == ("Alder Hill", 40, True)
    assert neighbour.temperature_c == pytest.approx(np.mean([0.15 * (d.day.toordinal() % 7) + 0.2 * (
        d.day.toordinal() % 5) + 19.0 - 28.0 for d in hill]))  # fmt: skip
    assert "far apart" in text
    assert [lead.lead_d for lead in page.context["forecasts"].leads] == [0, 1, 2]
    assert "1 issue against the days measured" in text


def test_the_page_tells_what_of_the_pull_is_not_done(dispatcher: User, sign_in: SignIn) -> None:
    record_daily_weather(days=run_of_days(3), source="file a.csv", now=NOW)
    made: dict[str, Any] = {"day": date(2026, 6, 16), "asked_at": NOW}
    StageRun.objects.create(stage="pull_weather", state="done", summary="Weather: 0 days added", **made)
    StageRun.objects.create(
        stage="weather_batch", scope="41.4,-104.7 +49", state="failed", attempt=2, error="HTTP 503", **made
    )
    StageRun.objects.create(stage="weather_batch", scope="41.0,-104.7 +49", state="done", **made)

    text = words(sign_in(dispatcher).get("/weather/").content.decode())

    assert "41.4,-104.7 +49 failed, try 2 of 5 HTTP 503" in text
    assert "41.0,-104.7 +49" not in text


def test_the_page_says_how_days_are_checked_and_filled(dispatcher: User, sign_in: SignIn) -> None:
    record_daily_weather(days=run_of_days(3), source="file a.csv", now=NOW)

    text = words(sign_in(dispatcher).get("/weather/").content.decode()).replace("\xa0", " ")

    assert "A tmax_c not below tmin_c" in text
    assert "Dew point above the lowest temperature" in text
    assert "for 14 days, and for 60 where no other year is known" in text
    assert "Rain comes only from a gauge or grid within 10 km" in text


def test_the_weather_page_takes_a_bounded_number_of_queries(
    town: Controller, dispatcher: User, sign_in: SignIn, django_assert_max_num_queries: Any
) -> None:
    client = sign_in(dispatcher)
    assert Site.objects.count() == 3

    with django_assert_max_num_queries(45):
        client.get("/weather/")


def test_three_days_of_silence_of_all_sources_are_told(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    record_daily_weather(days=run_of_days(5, end=DAY - 2 * ONE), source="nasa_power", now=NOW)
    client = sign_in(dispatcher)
    assert "none is late" in words(client.get("/weather/").content.decode())

    Company.objects.update(demo_today=DAY + 3 * ONE)

    text = words(client.get("/weather/").content.decode())
    assert "no source told anything of the last 4 days" in text
    assert "none is late" not in text


def test_only_the_office_chooses_whose_rain_counts(
    company: Company, sign_in: SignIn, dispatcher: User, manager: User
) -> None:
    site = build_site("CB-9")
    address = f"/sites/{site.code}/rain/"

    assert sign_in(manager).post(address, {"rain": "location"}).status_code == 403
    assert "Take this rain" not in sign_in(manager).get(f"/sites/{site.code}/").content.decode()
    assert sign_in(dispatcher).get(address).status_code == 405
    for bad in ("own", "station:7", "station:x", "station:", "moon", "station:9999999999999999999999"):
        got = sign_in(dispatcher).post(address, {"rain": bad}, follow=True)
        assert "Nothing was changed" in got.content.decode(), bad
    got = sign_in(dispatcher).post(address, {"rain": "location"}, follow=True)
    assert "Rain comes from its location" in got.content.decode()
    assert Site.objects.get(pk=site.pk).rain_from == "location"
    assert sign_in(dispatcher).post("/sites/NO/rain/", {"rain": "location"}).status_code == 404
