"""Weather files: what is wrong is told by row, column, value and expectation; nothing is half-written."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from django.core.management import call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.weather.new_days import DAY
from tests.weather.station_data import maricopa
from weather.calc.units import c_to_fahrenheit
from weather.importing.rows import ImportReport
from weather.models import DailyWeather, Location
from weather.services.import_weather import import_weather

NOW = datetime(2026, 6, 16, 6, 0, tzinfo=UTC)
HEADER = (
    "location,latitude,longitude,elevation_m,date,tmin_c,tmax_c,tdew_c,rh_min_pct,rh_max_pct,wind_m_s,"
    "wind_height_m,solar_mj_m2,rain_mm,kind,issued"
)

pytestmark = pytest.mark.django_db


def line(day: date = DAY, location: str = "Alder Ford", **cells: Any) -> str:
    """One row of a file; cells override, and an empty text empties a cell."""
    step = day.toordinal()
    given_: dict[str, object] = {
        "location": location,
        "latitude": 41.2,
        "longitude": -104.7,
        "elevation_m": 1500,
        "date": day.isoformat(),
        "tmin_c": round(11.0 + 0.3 * (step % 7), 1),
        "tmax_c": round(27.0 + 0.4 * (step % 5), 1),
        "tdew_c": 7.5,
        "wind_m_s": round(2.0 + 0.1 * (step % 4), 1),
        "solar_mj_m2": round(26.0 + 0.3 * (step % 6), 1),
        "rain_mm": 0.0,
        **cells,
    }
    return ",".join(str(given_.get(name, "")) for name in HEADER.split(","))


def bring(
    tmp_path: Path, *lines: str, header: str = HEADER, name: str = "weather.csv", **options: Any
) -> ImportReport:
    path = tmp_path / name
    path.write_text("\n".join([header, *lines, ""]), encoding="utf-8")
    return import_weather(path=path, now=NOW, **options)


def records(frame: pd.DataFrame) -> list[Any]:
    """Rows of a station file."""
    return list(frame.itertuples())


def problems(report: ImportReport) -> list[tuple[int, str, str]]:
    return [(problem.row, problem.column, problem.value) for problem in report.problems]


def test_a_good_file_comes_in_and_again_without_a_change(tmp_path: Path) -> None:
    lines = [line(DAY - timedelta(days=back)) for back in range(5)]

    first, second = bring(tmp_path, *lines), bring(tmp_path, *lines)

    assert (first.added, first.changed, first.unchanged, first.written) == (5, 0, 0, True)
    assert (second.added, second.changed, second.unchanged) == (0, 0, 5)
    assert DailyWeather.objects.count() == 5
    assert Location.objects.get().newest_day == DAY
    assert DailyWeather.objects.earliest("day").source == "file weather.csv"


def test_a_dry_run_counts_and_writes_nothing(tmp_path: Path) -> None:
    got = bring(tmp_path, line(), dry_run=True)

    assert (got.added, got.written) == (1, False)
    assert not Location.objects.exists()


def test_one_bad_row_stops_the_file_and_is_named(tmp_path: Path) -> None:
    got = bring(tmp_path, line(DAY - timedelta(days=1)), line(tmin_c=31.0))

    assert problems(got) == [(3, "tmax_c", got.problems[0].value)]
    assert "not below tmin_c" in got.problems[0].expected
    assert str(got.problems[0]).startswith("weather.csv: row 3, column tmax_c: '2")
    assert not got.written
    assert not DailyWeather.objects.exists()


def test_good_rows_are_kept_when_asked(tmp_path: Path) -> None:
    got = bring(tmp_path, line(DAY - timedelta(days=1)), line(tmin_c=31.0), keep_good=True)

    assert got.written
    assert (got.added, len(got.problems)) == (1, 1)
    assert DailyWeather.objects.get().day == DAY - timedelta(days=1)


@pytest.mark.parametrize(
    ("cells", "column", "words"),
    [
        pytest.param({"tmin_c": ""}, "tmin_c", "a value", id="required cell"),
        pytest.param({"tmin_c": "", "tmax_c": "", "rain_mm": ""}, "tmin_c", "rain gauge", id="nothing told"),
        pytest.param({"tmax_c": "hot"}, "tmax_c", "a number", id="text"),
        pytest.param({"tmax_c": 317.0}, "tmax_c", "tenths of a degree", id="tenths of a degree"),
        pytest.param({"tmin_c": -999}, "tmin_c", "tenths of a degree", id="fill value of a service"),
        pytest.param({"tmin_c": "nan"}, "tmin_c", "a number", id="not a number"),
        pytest.param({"rain_mm": -1}, "rain_mm", "from 0 to 2000", id="negative rain"),
        pytest.param({"latitude": 104.7}, "latitude", "from -90 to 90", id="swapped position"),
        pytest.param({"date": "15/06/2026"}, "date", "2026-06-14", id="date of another form"),
        pytest.param({"date": "2026-07-15"}, "date", "no observed day after 2026-06-16", id="future"),
        pytest.param({"kind": "guess"}, "kind", "forecast, observed", id="unknown kind"),
        pytest.param({"kind": "forecast"}, "issued", "day of issue", id="forecast without issue"),
        pytest.param(
            {"kind": "forecast", "issued": "2026-06-16"},
            "issued",
            "not after its day",
            id="issued after its day",
        ),
        pytest.param(
            {"rh_min_pct": 0.3, "rh_max_pct": 0.9, "tdew_c": ""}, "rh_max_pct", "percent", id="fraction"
        ),
        pytest.param({"solar_mj_m2": 320}, "solar_mj_m2", "clear sky", id="watts"),
        pytest.param({"tdew_c": 35}, "tdew_c", "not above tmax_c", id="dew point"),
        pytest.param({"wind_height_m": 0.05}, "wind_height_m", "from 0.5", id="wind height"),
    ],
)
def test_a_bad_cell_is_told_with_what_was_expected(
    tmp_path: Path, cells: dict[str, Any], column: str, words: str
) -> None:
    got = bring(tmp_path, line(**cells))

    assert [problem.column for problem in got.problems] == [column]
    assert words in got.problems[0].expected
    assert got.problems[0].row == 2
    assert not got.written


def test_days_of_a_rain_gauge_come_without_temperatures(tmp_path: Path) -> None:
    got = bring(tmp_path, line(tmin_c="", tmax_c="", tdew_c="", wind_m_s="", solar_mj_m2="", rain_mm=7.5))

    assert got.problems == ()
    row = DailyWeather.objects.get()
    assert (row.rain_mm, row.rain_used_mm, row.tmax_c, row.eto_mm) == (7.5, 7.5, None, None)
    assert row.rain_sd_mm == 0.85


def test_a_file_in_fahrenheit_is_refused_row_by_row(tmp_path: Path) -> None:
    frame = maricopa().iloc[2000:2030]
    lines = [
        line(
            row.date.date(),
            "Maricopa",
            latitude=33.069,
            longitude=-111.972,
            elevation_m=361,
            tmin_c=round(c_to_fahrenheit(row.tmin_c), 1),
            tmax_c=round(c_to_fahrenheit(row.tmax_c), 1),
            tdew_c="",
            solar_mj_m2=row.solar_mj_m2_d,
        )
        for row in records(frame)
    ]

    got = bring(tmp_path, *lines)

    assert len(got.problems) == 30
    assert all("Fahrenheit" in problem.expected for problem in got.problems)
    assert not DailyWeather.objects.exists()


def test_a_cold_week_in_fahrenheit_is_seen_by_the_stored_neighbours(tmp_path: Path) -> None:
    days = [date(2026, 1, 10) + timedelta(days=n) for n in range(3)]
    cold: dict[str, Any] = {"tmin_c": -10.0, "tdew_c": -12.0, "solar_mj_m2": 9.0}
    bring(tmp_path, *(line(day, tmax_c=-4.0 + 0.1 * day.day, **cold) for day in days))

    got = bring(
        tmp_path,
        *(
            line(day, "Alder Hill", latitude=41.3, tmin_c=14.0, tmax_c=25.0, tdew_c=10.4, solar_mj_m2=9.0)
            for day in days
        ),
    )

    assert ["Fahrenheit" in problem.expected for problem in got.problems] == [True] * 3


def test_a_warning_keeps_the_row_and_is_listed(tmp_path: Path) -> None:
    got = bring(tmp_path, line(tdew_c=17.0))

    assert got.written
    assert got.warnings == ("weather.csv: row 2: dew_above_tmin",)
    assert DailyWeather.objects.get().flags == "dew_above_tmin"


def test_a_day_twice_and_a_location_that_jumps_are_refused(tmp_path: Path) -> None:
    got = bring(
        tmp_path, line(), line(), line(DAY - timedelta(days=2)), line(DAY - timedelta(days=1), latitude=42.0)
    )

    assert [(problem.row, problem.column) for problem in got.problems] == [
        (2, "date"), (3, "date"), (5, "latitude"),
    ]  # fmt: skip
    assert "also row 3" in got.problems[0].expected
    assert "also row 2" in got.problems[1].expected
    assert "41.2, -104.7, 1500 m" in got.problems[2].expected


def test_forecasts_of_several_issues_stand_side_by_side(tmp_path: Path) -> None:
    got = bring(
        tmp_path,
        *(line(DAY, kind="forecast", issued=(DAY - timedelta(days=lead)).isoformat()) for lead in range(4)),
        line(DAY),
    )

    assert got.added == 5
    assert DailyWeather.objects.filter(kind="forecast").count() == 4


def test_published_et_of_the_tall_reference_is_asked_about(tmp_path: Path) -> None:
    frame = maricopa().iloc[2000:2060]
    header = f"{HEADER},eto_mm"

    def lines(column: str) -> list[str]:
        return [
            line(
                row.date.date(),
                "Maricopa",
                latitude=33.069,
                longitude=-111.972,
                elevation_m=361,
                tmin_c=row.tmin_c,
                tmax_c=row.tmax_c,
                tdew_c=row.tdew_c,
                wind_m_s=row.wind_3m_m_s,
                wind_height_m=3,
                solar_mj_m2=row.solar_mj_m2_d,
            )
            + f",{getattr(row, column)}"
            for row in records(frame)
        ]

    short = bring(tmp_path, *lines("eto_azmet_mm"), header=header)
    tall = bring(tmp_path, *lines("etr_refet_asce_tall_mm"), header=header)

    assert not any("tall" in warning for warning in short.warnings)
    assert any("2008-07" in warning and "is it the tall" in warning for warning in tall.warnings)


def test_an_unknown_or_missing_column_is_refused(tmp_path: Path) -> None:
    unknown = bring(tmp_path, line() + ",5", header=f"{HEADER},sunshine_h")
    missing = bring(tmp_path, header="location,latitude,longitude,elevation_m,date,tmin_c")

    assert problems(unknown) == [(1, "sunshine_h", "sunshine_h")]
    assert problems(missing) == [(1, "tmax_c", "")]


def test_an_empty_file_adds_nothing(tmp_path: Path) -> None:
    got = bring(tmp_path)

    assert (got.added, got.problems) == (0, ())


def test_the_command_lists_problems_and_ends_with_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(f"{HEADER}\n{line(date(2020, 6, 1), tmin_c=31.0)}\n")

    with pytest.raises(SystemExit) as stopped:
        call_command("import_weather", str(path))

    printed = capsys.readouterr()
    assert stopped.value.code == 1
    assert printed.err.startswith("bad.csv: row 2, column tmax_c")
    assert printed.out.splitlines()[-1] == (
        "bad.csv: 0 added, 0 changed, 0 unchanged, 1 rows refused; nothing was written"
    )


def test_the_command_brings_a_good_file_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "good.csv"
    path.write_text(f"{HEADER}\n{line(date(2020, 6, 1))}\n")

    call_command("import_weather", str(path))

    assert capsys.readouterr().out.splitlines()[-1] == "good.csv: 1 added, 0 changed, 0 unchanged"


CELLS = st.one_of(
    st.text(max_size=12),
    st.floats(allow_nan=True).map(str),
    st.sampled_from(["", "0", "-999", "1e400", "2026-06-01", "=1+1", '"', "observed", "\x00", "²", "１"]),
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.dictionaries(st.sampled_from(HEADER.split(",")), CELLS, max_size=5), max_size=4))
def test_no_row_whatever_breaks_the_import(tmp_path: Path, rows: list[dict[str, str]]) -> None:
    DailyWeather.objects.all().delete()
    text = io.StringIO()
    writer = csv.writer(text)
    for cells in rows:
        writer.writerow(
            [cells.get(name, value) for name, value in zip(HEADER.split(","), line().split(","), strict=True)]
        )

    got = bring(tmp_path, text.getvalue())

    bad = {problem.row for problem in got.problems}
    assert got.written == (not bad)
    assert (
        DailyWeather.objects.filter(kind="observed", source="file weather.csv").exists()
        or bad
        or not got.added
    )
    assert all(problem.expected for problem in got.problems)
    if bad:
        assert not DailyWeather.objects.exists()
