"""Whose rain a site takes: chosen by a person, kept every night; the location's where the gauge is silent."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from sites.calc.search.settings import ProgramSettings
from sites.models import Change, Recommendation, Site
from sites.models.choices import RainFrom
from sites.selectors.balance import balance_days
from sites.selectors.rain_source import rain_standing
from sites.selectors.round_weather import pairs_of, round_weather
from sites.selectors.zones import zone_table
from sites.services.balance import update_balance
from sites.services.balance_span import Span, forcing_of, irrigation_of, sky_of
from sites.services.locations import assign_locations
from sites.services.rain_source import BadRainSource, choose_rain
from sites.services.weather_doubt import doubt_day
from sites.services.weekly_round import weekly_round
from tests.factories import build_controller, build_site, build_zone
from tests.weather.new_days import DAY, new_day, run_of_days
from weather.calc.new_days import NewDay, NewPlace
from weather.models import Location
from weather.services.record_daily_weather import record_daily_weather

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 16, 6, tzinfo=UTC)
ONE = timedelta(days=1)
TOWN = NewPlace("Alder Ford", 41.2, -104.7, 1500.0)
OWN = NewPlace("CB-1", 41.21, -104.7, 1500.0)
OTHER = NewPlace("Cedar Gauge", 41.25, -104.7, 1500.0)
BARE = dict.fromkeys(("tmin_c", "tmax_c", "tdew_c", "wind_m_s", "solar_mj_m2"))
SILENT = (DAY - 4 * ONE, DAY - 3 * ONE, DAY)


def rain_days(place: NewPlace, count: int, rain_mm: float, end: date = DAY) -> list[NewDay]:
    """Days of a gauge that tells nothing but rain."""
    days = [end - back * ONE for back in range(count)]
    return [
        new_day(place, day, rain_mm=None if place is OWN and day in SILENT else rain_mm, **BARE)
        for day in days
    ]


@pytest.fixture
def garden() -> Site:
    """A garden in town (2 mm a day) with its own gauge (9 mm, silent on three days) and a far one (5 mm)."""
    site = build_site("CB-1", latitude=41.21, longitude=-104.7)
    build_zone(build_controller(site, governed=False), 1)
    record_daily_weather(days=run_of_days(40, TOWN, rain_mm=2.0), source="file town.csv", now=NOW)
    for place, mm in ((OWN, 9.0), (OTHER, 5.0)):
        record_daily_weather(days=rain_days(place, 40, mm), source="file rain.csv", now=NOW)
    assign_locations()
    site.refresh_from_db()
    return site


def choose(site: Site, rain_from: str, station: str = "") -> Site:
    pk = Location.objects.get(name=station).pk if station else None
    choose_rain(site_id=site.pk, rain_from=rain_from, station_id=pk, by="hana", at=NOW)
    return Site.objects.select_related("location", "rain_location").get(pk=site.pk)


@pytest.mark.parametrize(
    ("rain_from", "station", "gauge"),
    [
        (RainFrom.NEAREST, "", "CB-1"),
        (RainFrom.LOCATION, "", None),
        (RainFrom.OWN, "", "CB-1"),
        (RainFrom.STATION, "Cedar Gauge", "Cedar Gauge"),
    ],
)
def test_a_choice_holds_through_the_night(
    garden: Site, rain_from: str, station: str, gauge: str | None
) -> None:
    chosen = choose(garden, rain_from, station)
    assign_locations()
    after = Site.objects.select_related("rain_location").get(pk=garden.pk)

    for site in (chosen, after):
        assert (site.rain_location.name if site.rain_location else None) == gauge
    assert chosen.location is not None
    assert chosen.location.name == "Alder Ford"


def test_a_choice_is_kept_in_the_history_once(garden: Site) -> None:
    choose(garden, RainFrom.STATION, "Cedar Gauge")
    choose(garden, RainFrom.STATION, "Cedar Gauge")

    (entry,) = Change.objects.filter(kind="rain_source")
    assert (entry.site_code, entry.by) == ("CB-1", "hana")
    assert entry.before == {"rain": "the nearest gauge, its own first"}
    assert entry.after == {"rain": "the station Cedar Gauge"}


@pytest.mark.parametrize(
    ("rain_from", "station", "why"),
    [
        ("moon", None, "no choice"),
        (RainFrom.STATION, 999_999, "no such station"),
        (RainFrom.STATION, None, "no such station"),
    ],
)
def test_a_choice_that_is_none_is_refused(
    garden: Site, rain_from: str, station: int | None, why: str
) -> None:
    with pytest.raises(BadRainSource, match=why):
        choose_rain(site_id=garden.pk, rain_from=rain_from, station_id=station, by="hana", at=NOW)
    assert not Change.objects.exists()


def test_an_own_gauge_must_be_there() -> None:
    site = build_site("CB-2")

    with pytest.raises(BadRainSource, match="no gauge is named CB-2"):
        choose_rain(site_id=site.pk, rain_from=RainFrom.OWN, by="hana", at=NOW)


def test_a_chosen_gauge_stays_however_silent_and_the_nearest_one_does_not(garden: Site) -> None:
    choose(garden, RainFrom.OWN)
    later = DAY + 90 * ONE
    record_daily_weather(days=run_of_days(40, TOWN, later, rain_mm=2.0), source="file town.csv", now=NOW)
    assign_locations()

    site = Site.objects.select_related("location", "rain_location").get(pk=garden.pk)
    standing = rain_standing(site=site)
    assert standing.is_own
    assert standing.gauge is not None
    assert standing.gauge.last_day == DAY - ONE
    # The whole look back is silent but for the days that the town does not know either.
    assert {one.rain_mm for one in standing.silent} == {2.0, None}
    choose(garden, RainFrom.NEAREST)
    assert Site.objects.get(pk=garden.pk).rain_location is None


def test_the_page_knows_whose_rain_counts_when_it_was_last_told_and_where_it_was_silent(garden: Site) -> None:
    site = choose(garden, RainFrom.OWN)

    standing = rain_standing(site=site)

    assert standing.is_own
    assert standing.gauge is not None
    assert (standing.gauge.last_day, standing.last_mm) == (DAY - ONE, 9.0)
    assert [one.day for one in standing.silent] == sorted(SILENT, reverse=True)
    assert {one.rain_mm for one in standing.silent} == {2.0}
    told = Location.objects.get(name="Alder Ford").days.get(day=DAY).rain_sd_mm
    assert told is not None
    assert all(one.rain_sd_mm > told for one in standing.silent)  # type: ignore[operator]
    # The town's own gauge may be chosen, too.
    assert [one.name for one in standing.stations] == ["Alder Ford", "Cedar Gauge"]
    assert standing.stations[1].distance_km == pytest.approx(4.45, abs=0.01)


def test_the_balance_takes_the_locations_rain_on_silent_days_with_a_wider_spread(garden: Site) -> None:
    choose(garden, RainFrom.OWN)
    update_balance(until_day=DAY)
    table = zone_table(site_ids=[garden.pk])
    span = Span(DAY - 9 * ONE, DAY)
    silent = [(day - span.start).days for day in SILENT]
    expected = np.full(10, 9.0)
    expected[silent] = 2.0

    days = balance_days(zone_ids=table.zone_id, start=span.start, end=DAY + ONE)
    forcing = forcing_of(table, sky_of(table, span), irrigation_of(table, span))

    np.testing.assert_array_equal(days.rain_mm[:, 0], expected)
    np.testing.assert_array_equal(forcing.rain_mm[:, 0], expected)
    told = Location.objects.get(name="Alder Ford").days.get(day=DAY).rain_sd_mm
    assert told is not None
    assert (forcing.rain_sd_mm[silent, 0] > told).all()


def test_another_choice_computes_the_whole_balance_again(garden: Site) -> None:
    choose(garden, RainFrom.OWN)
    update_balance(until_day=DAY)
    choose(garden, RainFrom.LOCATION)

    done = update_balance(until_day=DAY)

    table = zone_table(site_ids=[garden.pk])
    days = balance_days(zone_ids=table.zone_id, start=DAY - 20 * ONE, end=DAY + ONE)
    assert done.sites == 1
    assert (days.rain_mm == 2.0).all()


def test_the_weekly_round_is_tried_on_the_gauges_rain_and_the_locations_where_it_was_silent(
    garden: Site,
) -> None:
    week = date(2027, 6, 14)
    own, town = (Location.objects.get(name=name).pk for name in ("CB-1", "Alder Ford"))
    horizon = ProgramSettings(horizon_days=14, seasons=1, least_seasons=1)
    record_daily_weather(
        days=run_of_days(20, TOWN, date(2026, 6, 28), rain_mm=2.0), source="file t.csv", now=NOW
    )
    record_daily_weather(days=rain_days(OWN, 12, 9.0, date(2026, 6, 27)), source="file r.csv", now=NOW)
    pairs = pairs_of(np.array([town, town, town]), np.array([own, 0, town]))

    got = round_weather(location_ids=pairs[0], gauge_ids=pairs[1], week=week, today=week, settings=horizon)

    # The last year's days from 14 June on: silent on the 15th, and over on the 27th.
    by_gauge = got.seasons.rain_mm[:, pairs[2][0], 0]
    assert by_gauge.tolist() == [9.0, 2.0, *[9.0] * 12]
    assert got.seasons.rain_mm[:, pairs[2][1], 0].tolist() == [2.0] * 14
    assert pairs[2][1] == pairs[2][2]  # a location is no gauge of its own
    assert got.stood_in_days[pairs[2]].tolist() == [1, 0, 0]


def test_the_round_says_on_how_many_days_the_locations_rain_stands_in(garden: Site) -> None:
    choose(garden, RainFrom.OWN)
    update_balance(until_day=DAY)

    weekly_round(week=date(2027, 5, 17), today=date(2027, 5, 17), price_per_m3=2.0)

    # Of the four weeks a year before, the 11th and 12th of June.
    assert Recommendation.objects.get().rain_stood_in_days == 2


def test_a_silent_gauges_day_may_be_doubted(garden: Site) -> None:
    choose(garden, RainFrom.OWN)
    update_balance(until_day=DAY)
    own = Location.objects.get(name="CB-1")
    assert own.days.get(day=SILENT[1]).filled.endswith("rain_mm:nearby")

    doubt = doubt_day(location_id=own.pk, day=SILENT[1], rain_mm=0.0, reference_et_mm=None)

    # Not the 2 mm of the town that stand in.
    assert doubt.sites == 1
    assert doubt.worst_on_the_way_mm > 1.0
