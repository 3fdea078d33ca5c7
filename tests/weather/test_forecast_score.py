"""Forecasts are scored against what was measured, lead by lead."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.weather.new_days import DAY, FORD, new_day, run_of_days
from weather.calc.forecast_score import ForecastPairs, forecast_scores, value_errors
from weather.forecast_status import forecast_standing
from weather.models import DailyWeather, Location
from weather.services.record_daily_weather import record_daily_weather

NOW = datetime(2026, 6, 16, 6, tzinfo=UTC)
ONE = timedelta(days=1)


def pairs(rain_foretold: list[float], rain_came: list[float], lead: int = 1) -> ForecastPairs:
    none = np.full(len(rain_came), np.nan)
    foretold, came = (np.array(values, dtype=np.float64) for values in (rain_foretold, rain_came))
    return ForecastPairs(np.full(len(rain_came), lead), none, none, none, foretold, came)


def test_the_two_by_two_table_of_finley() -> None:
    # Finley's tornado forecasts of 1884 as in Murphy (1996), from memory: 28 hits, 72 false alarms,
    # 23 misses, 2680 rightly quiet days: hit rate 28/51 = 0.549, false alarm ratio 72/100 = 0.72.
    foretold = [5.0] * 28 + [5.0] * 72 + [0.0] * 23 + [0.0] * 2680
    came = [5.0] * 28 + [0.0] * 72 + [5.0] * 23 + [0.0] * 2680

    (score,) = forecast_scores(pairs(foretold, came))

    assert score.hit_rate == pytest.approx(0.549, abs=5e-4)
    assert score.false_alarm_ratio == pytest.approx(0.72)
    assert (score.rain_pairs, score.wet_days) == (2803, 51)
    assert score.rain_bias_mm == pytest.approx(5.0 * (72 - 23) / 2803)
    assert score.rain_mae_mm == pytest.approx(5.0 * (72 + 23) / 2803)


def test_bias_error_and_band_of_et_by_lead() -> None:
    none = np.full(4, np.nan)
    got = forecast_scores(
        ForecastPairs(
            lead_d=np.array([0, 0, 3, 3]),
            et_foretold_mm=np.array([5.0, 7.0, 6.0, np.nan]),
            et_sd_mm=np.array([1.0, 1.0, 0.5, 0.5]),
            et_came_mm=np.array([5.5, 5.0, 6.0, 4.0]),
            rain_foretold_mm=none,
            rain_came_mm=none,
        )
    )

    assert [(one.lead_d, one.et_pairs) for one in got] == [(0, 2), (3, 1)]
    assert (got[0].et_bias_mm, got[0].et_mae_mm, got[0].et_in_band) == (0.75, 1.25, 0.5)
    assert (got[1].et_bias_mm, got[1].et_in_band, got[1].rain_pairs) == (0.0, 1.0, 0)
    assert (got[1].hit_rate, got[1].false_alarm_ratio, got[1].rain_mae_mm) == (None, None, None)


@settings(max_examples=60, deadline=None)
@given(rows=st.lists(st.tuples(st.floats(0, 50), st.floats(0, 50)), min_size=1, max_size=30))
def test_the_error_is_never_smaller_than_the_bias_and_rates_stay_shares(
    rows: list[tuple[float, float]],
) -> None:
    (score,) = forecast_scores(pairs([row[0] for row in rows], [row[1] for row in rows]))

    assert score.rain_mae_mm is not None
    assert score.rain_bias_mm is not None
    assert abs(score.rain_bias_mm) <= score.rain_mae_mm + 1e-9
    for share in (score.hit_rate, score.false_alarm_ratio):
        assert share is None or 0.0 <= share <= 1.0


def test_pairs_that_do_not_belong_together_are_refused() -> None:
    with pytest.raises(ValueError, match="one shape"):
        ForecastPairs(np.array([1]), *(np.zeros(2) for _ in range(5)))


@pytest.mark.django_db
def test_stored_issues_are_scored_against_measured_days_only() -> None:
    days = run_of_days(12)
    record_daily_weather(days=[day for day in days if day.day != DAY - ONE], source="file a.csv", now=NOW)
    foretold = [
        new_day(day=issued + lead * ONE, issued=issued, rain_mm=4.0)
        for issued in (DAY - 3 * ONE, DAY - 2 * ONE)
        for lead in range(5)
    ]
    record_daily_weather(days=foretold, source="nws", now=NOW)
    pk = Location.objects.get(name=FORD.name).pk

    got = forecast_standing(location_id=pk, last_day=DAY)

    assert got is not None
    assert (got.issues, got.sources) == (2, ("nws",))
    # Yesterday was filled, and what lies ahead is not known yet.
    assert [(lead.lead_d, lead.et_pairs, lead.rain_pairs) for lead in got.leads] == [
        (0, 2, 2),
        (1, 1, 1),
        (2, 1, 1),
        (3, 1, 1),
    ]
    assert got.leads[0].et_mae_mm == pytest.approx(0.0, abs=1e-3)
    assert (got.leads[0].rain_bias_mm, got.leads[0].false_alarm_ratio) == (4.0, 1.0)
    DailyWeather.objects.filter(kind="forecast").delete()
    assert forecast_standing(location_id=pk, last_day=DAY) is None


def test_errors_of_a_value_stand_beside_what_its_spreads_expect() -> None:
    generator = np.random.default_rng(5)
    truth = generator.normal(20.0, 5.0, 4_000)
    foretold = truth + generator.normal(0.5, 2.0, 4_000)
    lead = np.repeat([1, 2], 2_000)
    spread = np.where(lead == 1, 2.0, 1.0)

    narrow, wide = value_errors(lead, (foretold, spread), (truth, np.zeros(4_000)))

    # The mean size of a normal error is sqrt(2 / pi) of its standard deviation; the bias adds a little.
    assert narrow.mean_error == pytest.approx(narrow.expected, rel=0.1)
    assert narrow.bias == pytest.approx(0.5, abs=0.15)
    assert (narrow.is_wide, wide.is_wide) == (False, True)
    (few,) = value_errors(lead[:5], (foretold[:5] + 50.0, spread[:5]), (truth[:5], np.zeros(5)))
    assert (few.pairs, few.is_told, few.is_wide) == (5, False, False)


@pytest.mark.django_db
def test_stored_forecasts_are_scored_value_by_value_and_filled_truth_is_left_out() -> None:
    days = run_of_days(30)
    days[-1] = new_day(solar_mj_m2=None)
    record_daily_weather(days=days, source="file a.csv", now=NOW)
    for back in range(1, 26):
        issued = DAY - back * ONE
        day = new_day(day=issued + ONE, issued=issued)
        warm = [None if v is None else v + 3.0 * (n < 2) for n, v in enumerate(day.values)]
        record_daily_weather(days=[replace(day, values=tuple(warm))], source="nws", now=NOW)

    got = forecast_standing(location_id=Location.objects.get().pk, last_day=DAY)

    assert got is not None
    errors = dict(got.values)
    ((warmest,), (sun,)) = (errors["tmax_c"], errors["solar_mj_m2"])
    assert warmest.pairs == 25
    assert [warmest.bias, warmest.mean_error] == pytest.approx([3.0, 3.0])
    assert warmest.expected == pytest.approx(0.798 * np.hypot(2.1, 0.5), rel=1e-3)
    assert (warmest.is_wide, sun.pairs) == (True, 24)
    assert (got.judged, got.wide) == (6, 2)
