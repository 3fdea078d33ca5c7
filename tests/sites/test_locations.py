"""Each site gets the nearest weather that fits, or the reason why it has none."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.calc.nearest_location import nearest_location
from sites.models import Site
from sites.services.locations import NO_LOCATION, NO_POSITION, assign_locations
from tests.factories import build_location, build_site
from weather.calc.daily_weather import Places
from weather.calc.neighbours import chord_to_km, unit_vectors
from weather.models import DailyWeather, Location

DAY = date(2026, 6, 15)


def places(*points: tuple[float, float, float]) -> Places:
    table = np.array(points, dtype=np.float64).reshape(-1, 3)
    return Places(table[:, 0], table[:, 1], table[:, 2])


def one(value: float) -> np.ndarray:
    return np.array([value])


def test_the_nearest_one_within_reach_and_height_is_chosen() -> None:
    # 0.1 degrees of latitude are 11.1 km.
    found = nearest_location(
        one(41.0),
        one(-104.0),
        one(1500.0),
        places((41.02, -104.0, 1750.0), (41.05, -104.0, 1650.0), (41.09, -104.0, 1500.0)),
    )

    assert (found.chosen[0], found.nearest[0]) == (1, 0)
    assert found.distance_km[0] == pytest.approx(5.56, abs=0.01)


def test_without_a_known_height_the_way_alone_decides() -> None:
    found = nearest_location(one(41.0), one(-104.0), one(np.nan), places((41.02, -104.0, 3000.0)))

    assert found.chosen[0] == 0


def test_beyond_reach_there_is_none_but_the_nearest_is_named() -> None:
    found = nearest_location(one(41.0), one(-104.0), one(np.nan), places((41.2, -104.0, 1500.0)))

    assert (found.chosen[0], found.nearest[0]) == (-1, 0)
    assert found.distance_km[0] == pytest.approx(22.24, abs=0.01)


def test_a_site_without_a_position_and_a_world_without_locations_get_none() -> None:
    lost = nearest_location(one(np.nan), one(-104.0), one(np.nan), places((41.2, -104.0, 1500.0)))
    alone = nearest_location(one(41.0), one(-104.0), one(np.nan), places())

    for found in (lost, alone):
        assert (found.chosen[0], found.nearest[0], found.distance_km[0]) == (-1, -1, np.inf)


@given(seed=st.integers(0, 2_000))
def test_no_other_location_that_fits_is_nearer(seed: int) -> None:
    generator = np.random.default_rng(seed)
    latitude, longitude = generator.uniform(41.0, 41.3, 6), generator.uniform(-104.3, -104.0, 6)
    height = generator.uniform(1300.0, 1700.0, 6)
    some = Places(
        generator.uniform(41.0, 41.3, 9),
        generator.uniform(-104.3, -104.0, 9),
        generator.uniform(1300.0, 1700.0, 9),
    )

    found = nearest_location(latitude, longitude, height, some)

    for at in range(6):
        here = unit_vectors(latitude[at : at + 1], longitude[at : at + 1])
        chord = np.linalg.norm(here - unit_vectors(some.latitude_deg, some.longitude_deg), axis=1)
        ways = chord_to_km(chord)
        fits = (ways <= 15.0) & (np.abs(some.elevation_m - height[at]) <= 200.0)
        if fits.any():
            assert fits[found.chosen[at]]
            assert ways[found.chosen[at]] == pytest.approx(ways[fits].min(), rel=1e-6)
        else:
            assert found.chosen[at] == -1


def build_measured(
    name: str,
    *,
    newest: date = DAY,
    rain_mm: float | None = None,
    tmax_c: float | None = None,
    **columns: Any,
) -> Location:
    location = build_location(name, newest_day=newest, **columns)
    DailyWeather.objects.create(
        location=location,
        day=newest,
        issued=newest,
        rain_mm=rain_mm,
        tmax_c=tmax_c,
        source="csv",
        fetched_at=datetime(2026, 6, 16, tzinfo=UTC),
    )
    return location


@pytest.mark.django_db
def test_sites_get_their_location_and_a_second_run_changes_nothing() -> None:
    near = build_measured("near", latitude=41.21)
    build_measured("next", latitude=41.28)
    build_site()

    first, second = assign_locations(), assign_locations()

    assert Site.objects.get().location == near
    assert (first.sites, first.changed, first.without_weather) == (1, 1, ())
    assert second.changed == 0
    assert second.summary() == "Weather locations of 1 sites: 0 changed."


@pytest.mark.django_db
def test_rain_comes_from_a_nearer_gauge_of_like_height() -> None:
    grid = build_measured("41.2,-104.7", is_grid=True, latitude=41.2, rain_mm=1.0)
    gauge = build_measured("gauge", latitude=41.23, rain_mm=0.0)
    build_measured("gauge on the hill", latitude=41.205, elevation_m=1900.0, rain_mm=0.0)
    build_measured("station without rain", latitude=41.21)
    build_site(latitude=41.201)

    assign_locations()

    site = Site.objects.get()
    assert (site.location, site.rain_location) == (grid, gauge)


@pytest.mark.django_db
def test_a_location_that_is_a_gauge_needs_no_other() -> None:
    station = build_measured("station", rain_mm=0.0)
    build_measured("farther gauge", latitude=41.25, rain_mm=0.0)
    build_site()

    assign_locations()

    site = Site.objects.get()
    assert (site.location, site.rain_location) == (station, None)


@pytest.mark.django_db
def test_a_gauge_next_door_is_no_weather() -> None:
    grid = build_measured("41.2,-104.7", is_grid=True, latitude=41.25, tmax_c=27.0)
    gauge = build_measured("gauge next door", latitude=41.201, rain_mm=3.0)
    build_site()

    assign_locations()

    site = Site.objects.get()
    assert (site.location, site.rain_location) == (grid, gauge)


@pytest.mark.django_db
def test_a_gauge_named_after_the_site_is_its_own() -> None:
    build_measured("41.2,-104.7", is_grid=True, latitude=41.2, tmax_c=27.0)
    build_measured("nearer gauge", latitude=41.201, rain_mm=3.0)
    own = build_measured("CB-14", latitude=41.9, rain_mm=5.0)
    build_site("CB-14")
    build_site("CB-15")

    assign_locations()

    gauges = dict(Site.objects.values_list("code", "rain_location__name"))
    assert gauges == {"CB-14": own.name, "CB-15": "nearer gauge"}


@pytest.mark.django_db
def test_every_site_without_weather_has_its_reason() -> None:
    build_site("LOST-1", latitude=41.2)
    Site.objects.filter(code="LOST-1").update(latitude=None, longitude=None)
    build_site("FAR-1", latitude=41.5)
    before = assign_locations()
    build_measured("Alder Ford river", latitude=41.2)

    after = assign_locations()

    assert dict(before.without_weather) == {"LOST-1": NO_POSITION, "FAR-1": NO_LOCATION}
    assert dict(after.without_weather) == {
        "LOST-1": NO_POSITION,
        "FAR-1": "the nearest location, Alder Ford river, is 33 km away (at most 15 km)",
    }
    assert Site.objects.get(code="FAR-1").no_weather_reason.startswith("the nearest location")
    assert after.summary() == "Weather locations of 2 sites: 1 changed; 2 without weather."


@pytest.mark.django_db
def test_a_forgotten_location_is_passed_over() -> None:
    build_measured("closed station", newest=DAY - timedelta(days=61))
    alive = build_measured("living station", latitude=41.28)
    build_site()

    assign_locations()

    assert Site.objects.get().location == alive


@pytest.mark.django_db
def test_assigning_takes_few_queries_for_many_sites(django_assert_max_num_queries: Any) -> None:
    build_measured("near", rain_mm=0.0)
    for number in range(30):
        build_site(f"S-{number}", latitude=41.2 + number * 0.001)

    with django_assert_max_num_queries(9):
        assign_locations()


@pytest.mark.django_db
def test_a_customers_gauge_serves_no_other_garden_by_itself() -> None:
    build_measured("41.2,-104.7", is_grid=True, latitude=41.25, tmax_c=27.0)
    build_measured("CB-14", latitude=41.201, rain_mm=5.0)
    own, other = build_site("CB-14", latitude=41.2), build_site("CB-15", latitude=41.2)

    assign_locations()

    told = dict(Site.objects.values_list("code", "rain_location__name"))
    assert told == {own.code: "CB-14", other.code: None}
