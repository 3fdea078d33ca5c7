"""Quality checks: real stations pass, planted faults are found, and each fault says what was expected."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tests.weather.station_data import DATA, MARICOPA, MCLEAN, maricopa_weather, mclean_weather
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.quality import (
    EXPECTED,
    MEANING,
    REJECTING,
    Flag,
    flag_words,
    flags_of_words,
    words_of_codes,
)
from weather.calc.quality_checks import check_rows, seasonal_ceiling_c
from weather.calc.units import c_to_fahrenheit
from weather.calc.weather_rows import WeatherRows

VALUES = ("tmin_c", "tmax_c", "tdew_c", "rh_min_pct", "rh_max_pct", "wind_m_s", "solar_mj_m2", "rain_mm")


def rows_of(weather: DailyWeather, place: Places) -> WeatherRows:
    """A station's days as rows of one series."""
    size = weather.days.size
    return WeatherRows(
        series=np.zeros(size, dtype=np.int64),
        days=weather.days,
        latitude_deg=np.full(size, place.latitude_deg[0]),
        elevation_m=np.full(size, place.elevation_m[0]),
        wind_height_m=np.full(size, weather.wind_height_m[0]),
        **{name: getattr(weather, name)[:, 0] for name in VALUES},
    )


def _any(columns: Mapping[str, Any]) -> dict[str, Any]:
    """Columns of any type, as keyword arguments take them."""
    return dict(columns)


def build_rows(count: int = 1, start: str = "2026-06-15", **columns: Any) -> WeatherRows:
    """Plausible rows of one series in early summer at 41 N, 1,500 m; columns override."""
    step = np.arange(count)
    given: dict[str, Any] = {
        "series": np.zeros(count, dtype=np.int64),
        "days": np.datetime64(start) + step,
        "latitude_deg": 41.2,
        "elevation_m": 1500.0,
        "tmin_c": 11.0 + 0.1 * (step % 7),
        "tmax_c": 27.0 + 0.1 * (step % 5),
        "tdew_c": 8.0,
        "rh_min_pct": 30.0,
        "rh_max_pct": 85.0,
        "wind_m_s": 2.0 + 0.1 * (step % 3),
        "wind_height_m": 2.0,
        "solar_mj_m2": 28.0 + 0.1 * (step % 4),
        "rain_mm": 0.0,
        **columns,
    }
    spread = {
        name: np.broadcast_to(
            np.asarray(values, dtype=None if name in ("series", "days") else np.float64), (count,)
        )
        for name, values in given.items()
    }
    return WeatherRows(**{name: values.copy() for name, values in spread.items()})


def found(rows: WeatherRows, neighbour_mean_c: Any = None) -> list[set[str]]:
    return [set(words.split()) for words in words_of_codes(check_rows(rows, neighbour_mean_c))]


def test_a_plausible_day_has_nothing_to_say() -> None:
    assert found(build_rows(20)) == [set()] * 20


STATIONS = [
    pytest.param(maricopa_weather(), MARICOPA, id="Maricopa"),
    pytest.param(mclean_weather(), MCLEAN, id="McLean"),
]


def gainesville() -> WeatherRows:
    frame = pd.read_csv(DATA / "gainesville_fl_2018_2024_daily.csv", parse_dates=["date"])
    return build_rows(
        len(frame),
        days=frame["date"].to_numpy().astype("datetime64[D]"),
        latitude_deg=29.69,
        elevation_m=38.0,
        **_any({name: frame[name].to_numpy() for name in ("tmin_c", "tmax_c", "wind_m_s", "rain_mm")}),
        **_any(dict.fromkeys(("tdew_c", "rh_min_pct", "rh_max_pct", "solar_mj_m2"), np.nan)),
    )


@pytest.mark.parametrize(("weather", "place"), STATIONS)
def test_no_day_of_a_real_station_is_refused(weather: DailyWeather, place: Places) -> None:
    codes = check_rows(rows_of(weather, place))

    assert not (codes & np.uint32(REJECTING.value)).any()


def test_no_day_of_gainesville_is_refused() -> None:
    assert not (check_rows(gainesville()) & np.uint32(REJECTING.value)).any()


def test_a_dew_point_above_tmin_is_common_and_only_told() -> None:
    codes = check_rows(rows_of(maricopa_weather(), MARICOPA))

    share = np.mean((codes & Flag.DEW_ABOVE_TMIN.value) != 0)
    assert share == pytest.approx(0.10, abs=0.02)
    assert not (codes & np.uint32(REJECTING.value)).any()


def in_fahrenheit(rows: WeatherRows) -> WeatherRows:
    """The same rows with Fahrenheit in the columns of Celsius."""
    columns = {name: getattr(rows, name) for name in rows.__slots__}
    for name in ("tmin_c", "tmax_c", "tdew_c"):
        columns[name] = c_to_fahrenheit(columns[name])
    return WeatherRows(**columns)


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param(rows_of(maricopa_weather(), MARICOPA), id="Maricopa"),
        pytest.param(rows_of(mclean_weather(), MCLEAN), id="McLean"),
        pytest.param(gainesville(), id="Gainesville"),
    ],
)
def test_fahrenheit_is_found_in_every_month_of_the_year(rows: WeatherRows) -> None:
    for start in range(0, min(len(rows), 730) - 60, 30):
        month = rows.take(np.arange(start, start + 60))

        codes = check_rows(in_fahrenheit(month))

        known = np.isfinite(month.tmax_c)
        assert (codes[known] & Flag.LIKELY_FAHRENHEIT.value).all(), month.days[0]


def test_a_cold_fahrenheit_week_is_told_by_its_neighbours() -> None:
    # -4 C written as 25 F passes every limit of the season; the neighbours at -4 C tell.
    rows = build_rows(1, start="2026-01-10", tmin_c=14.0, tmax_c=25.0, tdew_c=10.0)

    assert "likely_fahrenheit" in found(rows, np.array([-5.0]))[0]
    assert "likely_fahrenheit" not in found(rows, np.array([np.nan]))[0]


def test_a_warm_spell_unlike_the_neighbours_is_told_and_kept() -> None:
    got = found(build_rows(1), np.array([9.0]))

    assert got == [{"far_from_neighbours"}]


def test_record_highs_stay_under_the_ceiling_of_their_season() -> None:
    # From memory: 31 C at 33 N in January, 24.4 C at 40 N and 1,600 m in January, 50 C at 33 N in July,
    # 46.6 C at 50 N and 250 m in late June.
    ceiling = seasonal_ceiling_c(
        np.array([28.0, 28.0, 200.0, 180.0]),
        np.array([33.4, 39.8, 33.4, 50.2]),
        np.array([340.0, 1600.0, 340.0, 250.0]),
    )

    assert (ceiling > [31.1, 24.4, 50.0, 46.6]).all()


@pytest.mark.parametrize(
    ("columns", "word"),
    [
        pytest.param({"tmin_c": 28.0}, "tmax_below_tmin", id="extremes reversed"),
        pytest.param({"tdew_c": 29.0}, "dew_above_tmax", id="dew point above the highest temperature"),
        pytest.param({"tdew_c": 12.0}, "dew_above_tmin", id="dew point above the lowest temperature"),
        pytest.param({"rh_min_pct": 0.3, "rh_max_pct": 0.85}, "humidity_as_fraction", id="fraction"),
        pytest.param({"rh_min_pct": 0.3, "rh_max_pct": np.nan}, "humidity_as_fraction", id="fraction alone"),
        pytest.param({"rh_min_pct": 90.0, "rh_max_pct": 60.0}, "humidity_reversed", id="humidity reversed"),
        pytest.param({"rh_max_pct": 103.0}, "humidity_above_100", id="humidity above 100"),
        pytest.param({"solar_mj_m2": 320.0}, "solar_above_clear_sky", id="watts in a column of MJ"),
        pytest.param({"solar_mj_m2": 36.5}, "solar_high", id="sun above a clear sky"),
        pytest.param({"solar_mj_m2": 0.5}, "solar_low", id="no sun"),
        pytest.param({"tmin_c": -8.0, "tdew_c": -10.0}, "range_wide", id="wide range"),
        pytest.param({"tmin_c": 26.8}, "range_narrow", id="narrow range"),
        pytest.param({"wind_m_s": 22.0, "wind_height_m": 10.0}, "wind_strong", id="storm at 10 m"),
        pytest.param({"rain_mm": 260.0}, "rain_heavy", id="heavy rain"),
    ],
)
def test_a_planted_fault_is_found_alone(columns: dict[str, Any], word: str) -> None:
    assert found(build_rows(1, **columns)) == [{word}]


def test_one_dry_hour_of_one_percent_is_no_fraction_beside_a_high_maximum() -> None:
    rows = build_rows(2, rh_min_pct=1.0, rh_max_pct=[np.nan, 40.0])

    assert found(rows) == [{"humidity_as_fraction"}, set()]


def test_a_value_that_stands_still_for_five_days_is_told_on_all_of_them() -> None:
    wind = np.array([2.0, 3.1, 3.1, 3.1, 3.1, 3.1, 2.2, 2.2, 2.2, 2.2])

    got = found(build_rows(10, wind_m_s=wind))

    assert [("flat_line" in words) for words in got] == [False, *[True] * 5, *[False] * 4]


def test_a_flat_line_ends_at_a_gap_and_at_another_series() -> None:
    gap = build_rows(
        6,
        days=np.array(
            ["2026-06-01", "2026-06-02", "2026-06-03", "2026-06-05", "2026-06-06", "2026-06-07"],
            "datetime64[D]",
        ),
        wind_m_s=3.0,
    )
    two_series = build_rows(6, series=np.array([0, 0, 0, 1, 1, 1]), wind_m_s=3.0)

    assert not any("flat_line" in words for words in found(gap) + found(two_series))


def test_calm_days_are_told_after_four() -> None:
    got = found(build_rows(6, wind_m_s=[0.3, 0.2, 0.4, 2.0, 0.3, 0.2]))
    longer = found(build_rows(6, wind_m_s=[2.0, 0.3, 0.2, 0.4, 0.3, 2.0]))

    assert not any("wind_calm" in words for words in got)
    assert [("wind_calm" in words) for words in longer] == [False, True, True, True, True, False]


def test_two_months_without_a_clear_day_are_told() -> None:
    dull = build_rows(70, solar_mj_m2=18.0 + 0.1 * (np.arange(70) % 9))

    got = [("solar_never_clear" in words) for words in found(dull)]

    assert got == [*[False] * 44, *[True] * 26]


def test_the_order_of_rows_does_not_matter() -> None:
    rows = build_rows(30, series=np.repeat([4, 2, 9], 10), wind_m_s=np.repeat([0.2, 3.0, 0.3], 10))
    rows = WeatherRows(
        **{**{n: getattr(rows, n) for n in rows.__slots__}, "days": np.tile(rows.days[:10], 3)}
    )
    shuffle = np.random.default_rng(3).permutation(30)

    np.testing.assert_array_equal(check_rows(rows.take(shuffle)), check_rows(rows)[shuffle])


def test_unknown_values_are_no_fault() -> None:
    rows = build_rows(80, **_any(dict.fromkeys(VALUES, np.nan)))

    assert found(rows) == [set()] * 80


def test_no_rows_have_no_flags() -> None:
    assert check_rows(build_rows(0)).size == 0


def test_every_flag_has_its_words() -> None:
    for flag in Flag:
        assert (flag in EXPECTED) == bool(flag & REJECTING)
        assert (flag in MEANING) != bool(flag & REJECTING)
    both = Flag.SOLAR_HIGH | Flag.DEW_ABOVE_TMIN
    assert flag_words(both.value) == "dew_above_tmin solar_high"
    assert flags_of_words("dew_above_tmin solar_high of_old_times") == both
    assert len(flag_words(sum(flag.value for flag in Flag if not flag & REJECTING))) <= 200


def test_rows_of_different_lengths_are_refused() -> None:
    rows = build_rows(3)
    columns = {name: getattr(rows, name) for name in rows.__slots__}

    with pytest.raises(ValueError, match="rain_mm must have the shape"):
        WeatherRows(**{**columns, "rain_mm": np.zeros(2)})
