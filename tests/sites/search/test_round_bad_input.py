"""Odd gardens in the round: each ends with a named limit, an assumption or a program, never with a crash."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from sites.models import Controller, Recommendation, RuleSet, RuleStage, Sensor, Zone
from sites.services.balance import update_balance
from sites.services.weekly_round import weekly_round
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from tests.sites.search.test_weekly_round_service import WEEK, fill
from weather.models import DailyWeather

pytestmark = pytest.mark.django_db


def a_garden(*, seasons: range = range(2021, 2026), zones: int = 2, **timer: object) -> Controller:
    location = build_location()
    for year in seasons:
        fill(location, date(year, 6, 10), date(year, 7, 20))
    fill(location, date(2026, 4, 10), date(2026, 6, 14))
    site = build_site(location=location, address="12 Bell Yard", soil="clay_loam")
    controller = build_controller(site, **{"station_count": max(zones, 6), **timer})  # type: ignore[arg-type]
    for station in range(1, zones + 1):
        build_zone(controller, station)
    build_sensor(controller, 1)
    return controller


def answer() -> Recommendation:
    update_balance(until_day=date(2026, 6, 14))
    report = weekly_round(week=WEEK, today=WEEK, price_per_m3=2.0)
    assert report.controllers == 1
    assert report.left_out == ()
    return Recommendation.objects.get()


def test_no_soil_is_an_assumption_and_gives_a_program() -> None:
    controller = a_garden()
    controller.site.soil = ""
    controller.site.save()

    found = answer()

    assert found.lines.count() >= 2
    assert found.adequacy_pct is not None
    assert any("Nobody told the soil: loam is assumed" in reason for reason in found.reasons)


def test_rates_that_nobody_measured_are_named_station_by_station() -> None:
    controller = a_garden()
    assert "soil" not in " ".join(answer().reasons)
    Zone.objects.filter(station=1).update(precipitation_rate_mm_h=40.0, distribution_uniformity=0.6)
    Zone.objects.filter(station=2).update(precipitation_rate_mm_h=None)
    Recommendation.objects.all().delete()

    said = " ".join(answer().reasons)

    assert "Rate or uniformity of station 2 is assumed from the kind of head." in said
    assert controller.pk


def test_coefficient_depth_and_slope_that_nobody_told_are_named() -> None:
    a_garden()
    Zone.objects.filter(station=1).update(landscape_coefficient=0.8, root_depth_mm=250, slope_pct=3)
    Zone.objects.filter(station=2).update(landscape_coefficient=None, root_depth_mm=None, slope_pct=None)

    said = answer().reasons

    assert (
        "Not in the book, so assumed: landscape coefficient (from plant, sun and climate) of station 2; root"
        " depth (from the plant) of station 2; slope (level) of station 2." in said
    )
    Zone.objects.update(landscape_coefficient=0.8, root_depth_mm=250, slope_pct=3)
    Recommendation.objects.all().delete()
    assert "so assumed" not in " ".join(answer().reasons)


def test_a_timer_marked_as_governed_without_a_sensor_is_told_to_be_planned_by_the_clock() -> None:
    controller = a_garden()
    assert "by the clock alone" not in " ".join(answer().reasons)
    controller.sensor.delete()
    Recommendation.objects.all().delete()

    found = answer()

    assert found.expected_bypass_rate is None
    assert any("governed by a sensor, but the book has no sensor: the" in one for one in found.reasons)


def test_a_sensor_in_a_station_without_a_zone_is_told_to_be_planned_by_the_clock() -> None:
    controller = a_garden()
    Sensor.objects.update(station=5)

    found = answer()

    assert found.expected_bypass_rate is None
    assert any("no zone at station 5, where its sensor stands: the" in one for one in found.reasons)
    assert controller.governed


@pytest.mark.parametrize(
    ("kpa", "words"), [(None, "Nobody told the sensor’s threshold"), (8, "of 8 kPa is no")]
)
def test_a_threshold_that_cannot_be_used_is_told(kpa: float | None, words: str) -> None:
    a_garden()
    assert "half of the allowed depletion" not in " ".join(answer().reasons)
    Sensor.objects.update(threshold_kpa=kpa)
    Recommendation.objects.all().delete()

    (said,) = [one for one in answer().reasons if "half of the allowed depletion" in one]

    assert words in said


def test_off_season_says_so() -> None:
    a_garden()
    assert "Off season" not in " ".join(answer().reasons)
    Recommendation.objects.all().delete()
    DailyWeather.objects.update(eto_mm=0.2, rain_mm=12.0, rain_used_mm=12.0)

    found = answer()

    assert found.binding_limit == ""
    assert found.reasons[0].startswith("Off season: rain and soil bring nearly all")


def test_a_zone_with_an_area_and_no_polygon_is_programmed() -> None:
    controller = a_garden()
    Zone.objects.update(geometry=None, area_m2=55.0)

    assert answer().lines.filter(week_volume_l__gt=0).count() >= 2
    assert controller.pk


def test_a_window_of_ten_minutes_is_named_as_the_limit() -> None:
    a_garden()
    rules = RuleSet.objects.create(code="ten", supplier="Test")
    RuleStage.objects.create(rule_set=rules, name="ten", spec={"name": "ten", "windows": ["04:00-04:10"]})
    Controller.objects.get().site.__class__.objects.update(rule_set="ten")

    found = answer()

    assert found.binding_limit == "hours of the watering rule"
    assert found.reasons[0].startswith("The best program falls short; what binds: hours of the watering rule")
    starts = {line.starts for line in found.lines.all()}
    assert all("04:0" in text for text in starts)


def test_a_timer_with_one_start_and_one_letter_gets_one_start() -> None:
    a_garden(starts_per_program=1, program_count=1, station_order="free")

    found = answer()

    assert {(line.letter, line.starts.count(":")) for line in found.lines.all()} == {("A", 1)}


def test_forty_eight_stations_are_programmed_or_the_hours_are_named() -> None:
    a_garden(zones=48, station_count=48)

    found = answer()

    assert {line.station for line in found.lines.all()} == set(range(1, 49))
    assert found.binding_limit in ("", "hours of the watering rule", "several limits together")
    assert found.window_used_min is not None
    assert found.window_min is not None
    assert found.window_used_min <= found.window_min + 1e-6


def test_forty_eight_stations_two_at_once_stay_within_the_flow_and_the_hours() -> None:
    a_garden(zones=48, station_count=48, stations_at_once=2, flow_limit_l_min=80.0)
    Zone.objects.update(flow_l_min=35.0)

    found = answer()

    assert {line.station for line in found.lines.all()} == set(range(1, 49))
    assert found.window_used_min is not None
    assert found.window_min is not None
    assert found.window_used_min <= found.window_min + 1e-6


def test_a_supply_that_gives_less_than_one_station_takes_is_named() -> None:
    a_garden(stations_at_once=2, flow_limit_l_min=0.5)

    found = answer()

    assert any("alone would take up to" in str(reason) for reason in found.reasons)
    assert found.lines.exists()


def test_one_past_season_is_filled_up_and_marked_short() -> None:
    a_garden(seasons=range(2025, 2026))

    found = answer()

    assert (found.seasons_used, found.short_history) == (1, True)
    assert found.lines.exists()


def test_no_forecast_is_no_hindrance() -> None:
    a_garden()
    assert not DailyWeather.objects.filter(kind=DailyWeather.Kind.FORECAST).exists()

    found = answer()

    assert found.lines.exists()
    assert found.forecast_days == 0


def test_the_days_that_a_forecast_tells_are_counted() -> None:
    controller = a_garden()
    assert controller.site.location is not None
    for ahead in range(5):
        DailyWeather.objects.create(
            location=controller.site.location,
            day=WEEK + timedelta(days=ahead),
            issued=WEEK,
            kind=DailyWeather.Kind.FORECAST,
            source="test",
            fetched_at=datetime(2026, 6, 15, 6, tzinfo=UTC),
            eto_mm=8.0,
            rain_used_mm=0.0,
        )

    assert answer().forecast_days == 5


@pytest.mark.parametrize(
    ("column", "value"), [("precipitation_rate_mm_h", 0.0), ("distribution_uniformity", 1.4)]
)
def test_a_rate_of_zero_and_an_impossible_uniformity_are_refused_by_the_book(
    column: str, value: float
) -> None:
    a_garden()

    with pytest.raises(Exception, match=r"CHECK constraint|violates check"):
        Zone.objects.update(**{column: value})


@pytest.mark.parametrize(
    ("column", "value"), [("flow_limit_l_min", 0.0), ("stations_at_once", 0), ("stations_at_once", 9)]
)
def test_a_supply_or_timer_that_cannot_be_is_refused_by_the_book(column: str, value: float) -> None:
    a_garden()

    with pytest.raises(Exception, match=r"CHECK constraint|violates check"):
        Controller.objects.update(**{column: value})


def test_the_same_book_gives_the_same_program_again() -> None:
    a_garden(zones=4)
    first = list(answer().lines.values_list("letter", "days", "starts", "station", "run_min"))
    Recommendation.objects.all().delete()

    assert list(answer().lines.values_list("letter", "days", "starts", "station", "run_min")) == first
    assert np.all([minutes > 0 for *_, minutes in first])
