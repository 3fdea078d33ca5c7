"""The weather page: what is late, missing and filled, for whom, and in whose units."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.test import Client

from fleet.models import Company, User
from tests.factories import build_location
from tests.weather.new_days import DAY, FORD, HILL, new_day, run_of_days
from tests.weather.test_weather_days import build_days
from weather import views
from weather.calc.new_days import NewPlace
from weather.day_status import fill_phrase
from weather.location_status import location_detail, location_list
from weather.models import Location, SourceMeeting
from weather.plots import sky_plot_svg
from weather.services.import_weather import import_weather
from weather.services.record_daily_weather import record_daily_weather

NOW = datetime(2026, 6, 16, 6, tzinfo=UTC)
ONE = timedelta(days=1)
SignIn = Callable[[User], Client]

pytestmark = pytest.mark.django_db


def record(days: list[Any], source: str = "file a.csv") -> None:
    record_daily_weather(days=days, source=source, now=NOW)


def words(html: str) -> str:
    """What a reader sees, on one line."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.fixture
def two_places(company: Company) -> None:
    """A whole record, and one that ends two days early with a gap of three days and no sun at times."""
    record(run_of_days(70, FORD))
    hill = run_of_days(70, HILL, end=DAY - 2 * ONE, solar_mj_m2=None)
    record([day for at, day in enumerate(hill) if at not in (40, 41, 42)])


def test_locations_say_what_is_late_missing_and_filled(two_places: None) -> None:
    ford, hill = location_list().rows

    assert (ford.days_late, ford.missing, ford.filled) == (0, 0, 0)
    assert not ford.is_late
    # Two days late are not measured either; the sun of the others was lent by the neighbour.
    assert (hill.days_late, hill.missing, hill.filled) == (2, 5, 55)
    assert ford.et_week_mm is not None


def test_a_young_record_does_not_lack_the_days_before_it() -> None:
    record(run_of_days(70, FORD))
    record(run_of_days(5, HILL))

    assert location_list().rows[1].missing == 0


def test_the_list_takes_three_queries_for_any_number_of_locations(django_assert_num_queries: Any) -> None:
    for number in range(6):
        record(run_of_days(3, NewPlace(f"P{number}", 41.0 + number, -104.0, 1500.0)))

    with django_assert_num_queries(3):
        assert len(location_list().rows) == 6


def test_the_page_answers_its_question(two_places: None, dispatcher: User, sign_in: SignIn) -> None:
    got = sign_in(dispatcher).get("/weather/")

    text = words(got.content.decode())
    assert got.status_code == 200
    assert "2 locations have weather, the newest day measured is 15 Jun ; 1 is late." in text
    assert "5 location-days were not measured and 55 filled in part." in text
    assert "2 days late" in text
    assert "never met the live service" in text
    assert '<svg class="plot"' in got.content.decode()
    assert "style=" not in got.content.decode().partition("<main")[2]


def test_a_location_is_chosen_by_its_address(two_places: None, manager: User, sign_in: SignIn) -> None:
    hill = Location.objects.get(name=HILL.name)

    text = words(sign_in(manager).get(f"/weather/?location={hill.pk}").content.decode())

    assert "from neighbouring locations: solar radiation" in text
    assert "nobody measured it" in text


@pytest.mark.parametrize("wanted", ["999999", "0"])
def test_a_location_that_is_none_is_not_found(dispatcher: User, sign_in: SignIn, wanted: str) -> None:
    assert sign_in(dispatcher).get(f"/weather/?location={wanted}").status_code == 404


@pytest.mark.parametrize("wanted", ["x", "-1", "²", "9" * 40])
def test_an_odd_address_shows_the_page(
    two_places: None, dispatcher: User, sign_in: SignIn, wanted: str
) -> None:
    assert sign_in(dispatcher).get("/weather/", {"location": wanted, "page": wanted}).status_code == 200


def test_without_any_weather_it_says_what_to_do_next(dispatcher: User, sign_in: SignIn) -> None:
    text = words(sign_in(dispatcher).get("/weather/").content.decode())

    assert "There is no weather yet." in text
    assert "A file of an own station comes in under Imports." in text


def test_a_location_without_a_measured_day_is_told(dispatcher: User, sign_in: SignIn) -> None:
    build_location("Empty field")

    text = words(sign_in(dispatcher).get("/weather/").content.decode())

    assert "No location has a measured day yet." in text
    assert "never measured" in text


def test_a_technician_and_a_visitor_do_not_get_in(stranger: User, sign_in: SignIn, client: Client) -> None:
    assert client.get("/weather/").status_code == 302
    assert sign_in(stranger).get("/weather/").status_code == 403
    assert sign_in(stranger).get("/weather/locations/1.csv").status_code == 403


def test_a_reader_of_customary_units_gets_them(two_places: None, dispatcher: User, sign_in: SignIn) -> None:
    dispatcher.units = "us"
    dispatcher.save()

    html = sign_in(dispatcher).get("/weather/").content.decode()

    assert "Temperature, °F" in html
    assert "Rain, in" in html


def test_a_name_with_markup_is_shown_as_text(dispatcher: User, sign_in: SignIn) -> None:
    record(run_of_days(3, NewPlace("<script>alert(1)</script>${1}", 41.0, -104.0, 1500.0)))

    html = sign_in(dispatcher).get("/weather/").content.decode()

    assert "<script>alert(1)" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;${1}" in html


def test_when_the_services_answered_is_told(two_places: None, dispatcher: User, sign_in: SignIn) -> None:
    SourceMeeting.objects.create(source="nasa_power", last_asked_at=NOW, last_answered_at=NOW)
    SourceMeeting.objects.create(source="nws", last_asked_at=NOW, last_error="HTTP 503 (4 tries)")

    text = words(sign_in(dispatcher).get("/weather/").content.decode())

    assert "16 Jun 2026, 06:00 UTC" in text
    assert "HTTP 503 (4 tries)" in text
    # The forecast service was asked and never answered; two others are off.
    assert text.count("never met the live service") == 3
    assert "commercial use needs a paid key" in text


def test_a_service_that_only_the_tests_have_met_says_so(
    two_places: None, dispatcher: User, sign_in: SignIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(views, "met_live", lambda: {"nws": date(2026, 11, 26)})

    text = words(sign_in(dispatcher).get("/weather/").content.decode())

    assert "its tests met the live service on 26 Nov 2026" in text
    assert text.count("never met the live service") == 3


def test_a_locations_days_come_as_csv(dispatcher: User, sign_in: SignIn) -> None:
    record(run_of_days(3, NewPlace("=1+1", 41.0, -104.0, 1500.0), tmin_c=-4.0, tmax_c=2.0, tdew_c=-6.0))
    pk = Location.objects.get().pk

    got = sign_in(dispatcher).get(f"/weather/locations/{pk}.csv")

    table = list(csv.DictReader(io.StringIO(b"".join(got.streaming_content).decode())))  # type: ignore[attr-defined]
    assert [row["date"] for row in table] == ["2026-06-13", "2026-06-14", "2026-06-15"]
    assert (table[0]["location"], table[0]["tmin_c"]) == ("'=1+1", "-4.0")
    assert list(table[0])[-2:] == ["solar_sd_mj_m2", "rain_sd_mm"]
    parts = [float(part.partition(":")[2]) for part in table[0]["eto_sd_parts_mm"].split()]
    assert np.linalg.norm(parts) == pytest.approx(float(table[0]["eto_sd_mm"]), abs=0.002)
    assert (table[0]["tmax_sd_k"], table[0]["tmax_used_c"]) == ("0.5", "")
    assert sign_in(dispatcher).get("/weather/locations/999.csv").status_code == 404


def test_the_table_shows_the_newest_forecast_and_no_gap_that_one_covers() -> None:
    record(run_of_days(10, FORD))
    for lead in (2, 1):
        record([new_day(FORD, DAY + 2 * ONE, issued=DAY + (2 - lead) * ONE, tmax_c=30.0 - lead)], "nws")

    detail = location_detail(pk=Location.objects.get().pk)

    assert detail is not None
    assert detail.days[0].day == DAY + 2 * ONE
    assert detail.days[0].tmax_c == 29.0
    assert detail.days[0].source_word == "forecast: US National Weather Service"
    assert location_detail(pk=0) is None


def test_fills_are_told_in_words() -> None:
    assert fill_phrase("wind_m_s:default") == "wind: 2 m/s assumed"
    assert fill_phrase("eto_mm:mean_7_days") == "reference ET: mean of the seven days before"


def test_filled_days_are_hatched_and_unknown_rain_is_crossed() -> None:
    sky = build_days(30, ids=(7,))
    plain = sky_plot_svg(sky, is_us=False)
    sky.is_filled[4, 0] = True
    sky.rain_mm[9, 0] = np.nan
    sky.is_forecast[25:, 0] = True

    marked = sky_plot_svg(sky, is_us=False)

    for kind in ("p-hatch", "p-skip", "p-mark"):
        assert kind not in plain
        assert marked.count(f'class="{kind}"') == 1
    assert "forecast" in marked
    assert "cross = unknown" in marked


def test_a_plot_needs_two_known_days_and_one_location() -> None:
    empty = build_days(5, ids=(7,))
    empty.reference_et_mm[:] = np.nan
    empty.rain_mm[:] = np.nan

    assert sky_plot_svg(empty, is_us=False) == ""
    with pytest.raises(ValueError, match="exactly one location"):
        sky_plot_svg(build_days(5), is_us=False)


def test_a_plot_without_temperature_or_et_still_draws_the_rain() -> None:
    sky = build_days(8, ids=(7,))
    for values in (sky.tmin_c, sky.tmax_c, sky.reference_et_mm, sky.reference_et_sd_mm):
        values[:] = np.nan
    sky.rain_mm[3, 0] = 12.0

    drawn = sky_plot_svg(sky, is_us=True)

    assert drawn.count('class="p-rain"') == 1
    assert "nan" not in drawn


def test_gaps_cut_the_lines_of_a_plot() -> None:
    sky = build_days(12, ids=(7,))
    sky.reference_et_mm[5, 0] = np.nan

    assert sky_plot_svg(sky, is_us=False).count('class="p-et"') == 2
    assert sky.days[0] == np.datetime64(date(2026, 6, 1))


def test_a_downloaded_location_comes_in_again_unchanged(
    two_places: None, dispatcher: User, sign_in: SignIn, tmp_path: Path
) -> None:
    hill = Location.objects.get(name=HILL.name)
    got = sign_in(dispatcher).get(f"/weather/locations/{hill.pk}.csv")
    path = tmp_path / "hill.csv"
    path.write_bytes(b"".join(got.streaming_content))  # type: ignore[attr-defined]

    again = import_weather(path=path, now=NOW)

    assert (again.unchanged, again.problems) == (67, ())


def test_a_filled_day_tells_what_each_value_brings_to_its_spread(
    two_places: None, dispatcher: User, sign_in: SignIn
) -> None:
    hill = Location.objects.get(name=HILL.name)
    detail = location_detail(pk=hill.pk)
    assert detail is not None
    lent = next(day for day in detail.days if any("solar" in phrase for phrase in day.filled))

    assert {"solar radiation", "wind", "the equation itself"} < {name for name, _ in lent.spread_parts}
    assert np.linalg.norm([mm for _, mm in lent.spread_parts]) == pytest.approx(lent.eto_sd_mm, abs=0.001)
    assert lent.values["solar_mj_m2"].is_put_in
    text = words(sign_in(dispatcher).get(f"/weather/?location={hill.pk}").content.decode())
    assert re.search(r"Spread of ETo mostly from .*solar radiation \d\.\d\d", text)


def test_a_rain_gauge_is_called_one_and_its_borrowed_temperatures_are_no_gaps(
    two_places: None, dispatcher: User, sign_in: SignIn
) -> None:
    bare: dict[str, Any] = dict.fromkeys(("tmin_c", "tmax_c", "tdew_c", "wind_m_s", "solar_mj_m2"))
    record(run_of_days(60, NewPlace("Cedar Gauge", 41.22, -104.7, 1500.0), rain_mm=1.0, **bare))
    gauge = Location.objects.get(name="Cedar Gauge")

    row = next(one for one in location_list().rows if one.pk == gauge.pk)
    text = words(sign_in(dispatcher).get(f"/weather/?location={gauge.pk}").content.decode())

    assert (row.is_gauge, row.filled, row.missing) == (True, 0, 0)
    assert "a rain gauge: all but its rain comes from others" in text
    assert [one.is_gauge for one in location_list().rows] == [False, False, True]
