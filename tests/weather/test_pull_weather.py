"""Pulling from played services: one failure stops no other, a second run changes and doubles nothing."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from tests.factories import build_site
from tests.weather.sources.service import Reply, Service, quick_client, reply, served, stored
from weather.models import DailyWeather, Location, SourceMeeting
from weather.services.dropped_files import import_dropped_files
from weather.services.pull_weather import FIRST_DAYS, pull_weather
from weather.sources.nasa_power import VARIABLES, NasaPower
from weather.sources.ncei import DailySummaries
from weather.sources.nws import NationalWeatherService
from weather.sources.protocol import DailySource, Point

TODAY = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 9, tzinfo=UTC)
POWER = "/api/temporal/daily/point"
ONE = timedelta(days=1)

pytestmark = pytest.mark.django_db


@pytest.fixture
def service() -> Iterator[Service]:
    with served() as one:
        yield one


def power(days: int = 20, lag: int = 2, solar_lag: int = 5, tmax: float = 27.0) -> Reply:
    """An invented answer of the grid service: the newest days lack, solar radiation longer."""
    table: dict[str, dict[str, float]] = {name: {} for name in VARIABLES}
    for back in range(lag, lag + days):
        day, key = TODAY - back * ONE, f"{TODAY - back * ONE:%Y%m%d}"
        step = day.toordinal()
        table["T2M_MIN"][key] = 11.0 + 0.3 * (step % 7)
        table["T2M_MAX"][key] = tmax + 0.4 * (step % 5)
        table["T2MDEW"][key] = 7.0
        table["WS2M"][key] = 2.0 + 0.1 * (step % 3)
        table["ALLSKY_SFC_SW_DWN"][key] = 26.0 + 0.3 * (step % 4) if back >= solar_lag else -999.0
        table["PRECTOTCORR"][key] = 0.0
    return reply(
        {
            "geometry": {"coordinates": [-104.7, 41.2, 1500.0]},
            "header": {"fill_value": -999.0, "time_standard": "LST"},
            "properties": {"parameter": table},
            "parameters": {name: {"units": unit} for name, (_, unit) in VARIABLES.items()},
        }
    )


FORD = Point("41.2,-104.7", 41.2, -104.7)
HILL = Point("41.3,-104.7", 41.3, -104.7)


def pull(service: Service, *points: Point, today: date = TODAY, **options: Any) -> Any:
    sources: list[DailySource] = [NasaPower(quick_client(tries=1), service.url)]
    return pull_weather(points=points or (FORD,), sources=sources, today=today, now=NOW, **options)


def test_days_are_stored_filled_and_reported(service: Service) -> None:
    service.play(POWER, power())

    got = pull(service)

    assert got.problems == ()
    location = Location.objects.get()
    assert (location.name, location.is_grid, location.elevation_m) == ("41.2,-104.7", True, 1500.0)
    assert location.newest_day == TODAY - 2 * ONE
    # Yesterday lacks and is filled; the newest three measured days lack their solar radiation.
    assert DailyWeather.objects.get(day=TODAY - ONE).filled == "eto_mm:mean_7_days"
    assert DailyWeather.objects.get(day=TODAY - 4 * ONE).filled == "solar_mj_m2:from_range"
    assert DailyWeather.objects.get(day=TODAY - 5 * ONE).filled == ""
    assert not DailyWeather.objects.filter(day__gte=TODAY).exists()
    assert got.summary() == ("Weather: 20 days added, 0 revised, 1 filled; newest measured day 2026-06-13.")


def test_a_record_that_ended_long_ago_is_no_gap(service: Service) -> None:
    service.play(POWER, power())
    pull(service)
    service.play(POWER, reply("down", 503))

    got = pull(service, today=TODAY + 100 * ONE)

    assert got.filled == 0
    assert DailyWeather.objects.latest("day").day == TODAY - ONE


def test_a_second_run_changes_nothing(service: Service) -> None:
    service.play(POWER, power())
    pull(service)
    Location.objects.update(stale_from=None)
    before = list(DailyWeather.objects.order_by("day").values())

    got = pull(service)

    assert list(DailyWeather.objects.order_by("day").values()) == before
    assert (got.sources[0].added, got.sources[0].changed, got.filled) == (0, 0, 0)
    assert Location.objects.get().stale_from is None


def test_a_new_point_begins_seasons_ago_and_a_known_one_days_ago(service: Service) -> None:
    service.play(POWER, power())

    pull(service)
    pull(service, days=10)

    starts = [asked["start"][0] for _, asked in service.asked]
    assert starts == [f"{TODAY - FIRST_DAYS * ONE:%Y%m%d}", f"{TODAY - 10 * ONE:%Y%m%d}"]


def test_a_late_revision_makes_later_results_out_of_date(service: Service) -> None:
    service.play(POWER, power(), power(solar_lag=4))
    pull(service)
    Location.objects.update(stale_from=None)

    got = pull(service)

    assert got.sources[0].changed == 1
    assert Location.objects.get().stale_from == TODAY - 4 * ONE
    assert DailyWeather.objects.get(day=TODAY - 4 * ONE).filled == ""


def test_a_point_that_fails_does_not_stop_the_others(service: Service) -> None:
    service.play(POWER, reply(stored("nasa_power_error_422.reconstructed.json"), 422), power())

    got = pull(service, HILL, FORD)

    assert Location.objects.get().name == FORD.name
    assert "41.3,-104.7: " in got.problems[0]
    assert "T2MMAX" in got.problems[0]
    assert got.missing == (("41.3,-104.7", None),)
    assert got.summary().endswith("; 1 locations late; 1 problems.")


def test_a_service_that_is_down_is_left_alone_after_three_points(service: Service) -> None:
    service.play(POWER, reply("down", 503))
    points = [Point(f"4{n}.0,-104.0", 40.0 + n, -104.0) for n in range(6)]

    got = pull(service, *points)

    assert len(service.asked) == 3
    assert any("left alone after 3 points" in problem for problem in got.problems)
    assert got.newest_day is None
    assert len(got.missing) == 6
    assert not DailyWeather.objects.exists()


def test_three_days_without_the_service_lose_nothing_and_double_nothing(service: Service) -> None:
    service.play(POWER, power())
    pull(service)
    service.play(POWER, reply("down", 503))
    for late in (1, 2, 3):
        pull(service, today=TODAY + late * ONE)
    filled = DailyWeather.objects.filter(source="filled").count()

    service.play(POWER, power(days=20, lag=-2))
    pull(service, today=TODAY + 4 * ONE)

    assert filled == 4
    days = list(DailyWeather.objects.order_by("day").values_list("day", "source"))
    assert len(days) == len({day for day, _ in days})
    assert [source for _, source in days[-5:]] == ["nasa_power"] * 4 + ["filled"]


def test_when_a_source_was_asked_and_answered_is_kept(service: Service) -> None:
    service.play(POWER, power())
    pull(service)
    met = SourceMeeting.objects.get(source="nasa_power")
    assert (met.last_asked_at, met.last_answered_at, met.last_error) == (NOW, NOW, "")

    service.play(POWER, reply("down", 503))
    later = NOW + ONE
    pull_weather(
        points=[FORD], sources=[NasaPower(quick_client(tries=1), service.url)], today=TODAY, now=later
    )

    met.refresh_from_db()
    assert (met.last_asked_at, met.last_answered_at) == (later, NOW)
    assert "HTTP 503" in met.last_error


def test_a_day_that_fails_the_checks_is_left_out_and_told(service: Service) -> None:
    service.play(POWER, power(tmax=10.0))

    got = pull(service)

    assert any("refused (tmax_below_tmin)" in problem for problem in got.problems)
    kept = DailyWeather.objects.exclude(source="filled")
    assert 0 < kept.count() < 20


def test_a_forecast_joins_the_measured_days(service: Service) -> None:
    service.play(POWER, power())
    cell = stored("nws_points.json").replace("America/New_York", "America/Denver")
    service.play("/points/41.2000,-104.7000", reply(cell))
    hours = [f"2026-06-{15 + n // 24:02}T{n % 24:02}:00:00-06:00" for n in range(72)]
    foretold = [{"validTime": f"{hour}/PT1H", "value": 12 + n % 24 / 2} for n, hour in enumerate(hours)]
    temperature = {"uom": "wmoUnit:degC", "values": foretold}
    service.play("/gridpoints/TAE/58,65", reply({"properties": {"temperature": temperature}}))
    client = quick_client(tries=1)
    sources: list[DailySource] = [NasaPower(client, service.url), NationalWeatherService(client, service.url)]

    got = pull_weather(points=[FORD], sources=sources, today=TODAY, now=NOW)

    assert got.problems == ()
    rows = DailyWeather.objects.filter(kind="forecast").order_by("day")
    assert [row.day for row in rows] == [TODAY, TODAY + ONE, TODAY + 2 * ONE]
    assert all(row.issued == TODAY and row.eto_mm for row in rows)
    assert "solar_mj_m2:from_range" in rows[0].filled


def test_stations_become_locations_of_their_own(service: Service) -> None:
    service.play(
        "/access/services/search/v1/data", reply({"results": [{"stations": [{"id": "GHCND:US1WY0001"}]}]})
    )
    service.play(
        "/access/services/data/v1",
        reply(
            "STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,PRCP,TMAX,TMIN\n"
            "US1WY0001,2026-06-12,41.21,-104.69,1510,6.4,,\nUS1WY0001,2026-06-13,41.21,-104.69,1510,0.0,,\n"
        ),
    )

    got = pull_weather(
        points=[FORD], sources=[DailySummaries(quick_client(tries=1), service.url)], today=TODAY, now=NOW
    )

    station = Location.objects.get()
    assert (station.name, station.is_grid) == ("ncei US1WY0001", False)
    assert DailyWeather.objects.get(day=date(2026, 6, 12)).rain_used_mm == 6.4
    assert got.sources[0].added == 2


HEADER = "location,latitude,longitude,elevation_m,date,tmin_c,tmax_c,rain_mm"


def test_dropped_files_are_brought_in_and_put_aside(tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_text(f"{HEADER}\nShed,41.2,-104.7,1500,2026-06-14,31,12,0\n")
    (tmp_path / "a.csv").write_text(f"{HEADER}\nShed,41.2,-104.7,1500,2026-06-13,11,26,0\n")
    (tmp_path / "notes.txt").write_text("not weather")

    got = import_dropped_files(folder=tmp_path, now=NOW)

    assert [report.file for report in got.reports] == ["a.csv", "b.csv"]
    assert (tmp_path / "done" / "20260615T090000-a.csv").exists()
    refused = tmp_path / "refused" / "20260615T090000-b.txt"
    assert "row 2, column tmax_c" in refused.read_text()
    assert "row 2, column tmax_c" in got.problems[0]
    assert (tmp_path / "notes.txt").exists()
    assert DailyWeather.objects.count() == 1
    assert import_dropped_files(folder=tmp_path, now=NOW).reports == ()


def test_without_a_drop_folder_nothing_is_dropped(tmp_path: Path) -> None:
    assert import_dropped_files(folder=tmp_path / "none", now=NOW).reports == ()


@pytest.fixture
def played(service: Service, settings: Any) -> Service:
    """The command's services, all played here."""
    settings.SOURCE_URLS = {"nasa_power": service.url, "nws": service.url, "ncei": "", "open_meteo": ""}
    settings.WEATHER_SOURCES = ["nasa_power"]
    return service


def test_the_command_pulls_for_the_sites_and_gives_them_weather(
    played: Service, company: Any, capsys: pytest.CaptureFixture[str], settings: Any
) -> None:
    site, far = build_site(), build_site("CB-15", latitude=41.24)
    played.play(POWER, power())
    settings.WEATHER_DROP_DIR.mkdir()
    (settings.WEATHER_DROP_DIR / "gauge.csv").write_text(
        f"{HEADER}\nYard gauge,41.21,-104.7,1510,2026-06-13,11,26,3.5\n"
    )

    call_command("pull_weather")

    printed = capsys.readouterr().out.splitlines()[-1]
    assert printed.startswith("1 dropped files; Weather: 20 days added")
    # Both sites lie in one cell of the grid; the gauge measures their rain.
    assert len(played.asked) == 1
    site.refresh_from_db()
    far.refresh_from_db()
    assert site.location is not None
    assert site.location.name == "41.2,-104.7"
    assert site.rain_location is not None
    assert site.rain_location.name == "Yard gauge"
    assert far.location is not None


def test_the_command_tells_what_is_missing_and_leaves_with_one(
    played: Service, company: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    build_site()
    played.play(POWER, reply(stored("nasa_power_error_422.reconstructed.json"), 422))

    with pytest.raises(SystemExit) as stopped:
        call_command("pull_weather", "--days", "5")

    printed = capsys.readouterr()
    assert stopped.value.code == 1
    assert "T2MMAX" in printed.err
    assert printed.out.splitlines()[-1].endswith("1 sites without weather.")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [(["--days", "0"], "--days 0"), (["--source", "open_meteo"], "switched off")],
)
def test_unusable_arguments_are_told(played: Service, arguments: list[str], words: str) -> None:
    with pytest.raises(CommandError, match=words) as told:
        call_command("pull_weather", *arguments)

    assert told.value.returncode == 2
