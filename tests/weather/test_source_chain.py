"""Each variable comes from the first source of its order that knows it, and orders may be changed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.factories import build_location
from tests.weather.new_days import DAY, FORD, new_day, run_of_days
from weather.calc.new_days import RAW
from weather.calc.source_chain import GROUPS, Told, choose_sources
from weather.calc.tall_reference import TallMonth
from weather.models import DailyWeather, Location, ReferenceQuestion, SourceDay, SourceOrder
from weather.services.record_daily_weather import record_daily_weather
from weather.services.reference_questions import (
    NoSuchQuestion,
    answer_reference_question,
    ask_about_reference,
)
from weather.services.source_order import BadOrder, set_source_order

NOW = datetime(2026, 6, 16, 6, tzinfo=UTC)
ONE = timedelta(days=1)


def told(label: str, **values: float | None) -> Told:
    known = {"wind_height_m": 2.0, **values}
    return Told(tuple(known.get(name) for name in RAW), "", label)


def value(day: Any, name: str) -> float | None:
    known: dict[str, float | None] = dict(zip(RAW, day.values, strict=True))
    return known[name]


def test_both_temperatures_come_from_one_source() -> None:
    day = choose_sources(
        {
            "ncei": told("ncei", tmin_c=12.0, rain_mm=4.0),
            "nasa_power": told("nasa_power", tmin_c=9.0, tmax_c=11.0, rain_mm=0.0),
        },
        {},
        "observed",
    )

    # The station knows only the lowest, and its 12 C would stand above the grid's highest.
    assert (value(day, "tmin_c"), value(day, "tmax_c"), value(day, "rain_mm")) == (9.0, 11.0, 4.0)
    assert (day.label, day.parts) == ("nasa_power", "rain:ncei")


def test_a_source_left_out_of_an_order_is_not_used_for_the_variable() -> None:
    both = {"ncei": told("ncei", rain_mm=4.0), "nasa_power": told("nasa_power", rain_mm=1.0, tmax_c=20.0)}

    assert value(choose_sources(both, {"rain": ("nasa_power",)}, "observed"), "rain_mm") == 1.0
    assert value(choose_sources(both, {"rain": ("files",)}, "observed"), "rain_mm") is None


def test_a_forecast_follows_the_order_of_forecasts() -> None:
    both = {
        "nws": told("nws", tmin_c=1.0, tmax_c=9.0),
        "open_meteo": told("open_meteo", tmin_c=2.0, tmax_c=8.0),
    }

    assert choose_sources(both, {}, "forecast").label == "nws"
    assert choose_sources(both, {"forecast": ("open_meteo", "nws")}, "forecast").label == "open_meteo"


numbers = st.one_of(st.none(), st.floats(-10.0, 30.0))


@settings(max_examples=80, deadline=None)
@given(
    rows=st.dictionaries(
        st.sampled_from(["files", "ncei", "nasa_power", "unheard_of"]),
        st.fixed_dictionaries({name: numbers for name in RAW if name != "wind_height_m"}),
        min_size=1,
    ),
    data=st.data(),
)
def test_a_group_never_mixes_two_sources(rows: dict[str, dict[str, float | None]], data: Any) -> None:
    sources = {name: told(name, **row) for name, row in rows.items()}
    shuffled = dict(data.draw(st.permutations(list(sources.items()))))

    day = choose_sources(sources, {}, "observed")

    assert choose_sources(shuffled, {}, "observed") == day
    for names in GROUPS.values():
        got = [value(day, name) for name in names]
        assert got in [[row[name] for name in names] for row in rows.values()] or set(got) == {None}
        if any(row[name] is not None for row in rows.values() for name in names):
            assert set(got) != {None}


@pytest.mark.django_db
def test_a_new_order_puts_the_stored_days_together_again_and_marks_what_moved() -> None:
    record_daily_weather(days=run_of_days(10, rain_mm=0.0), source="ncei", now=NOW)
    record_daily_weather(
        days=[*run_of_days(9, end=DAY - ONE, rain_mm=0.0), new_day(rain_mm=7.0)], source="nasa_power", now=NOW
    )
    Location.objects.update(stale_from=None)

    change = set_source_order(
        location_id=None, variable="rain", sources=("nasa_power", "ncei"), now=NOW + ONE
    )

    row = DailyWeather.objects.get(day=DAY)
    assert (row.rain_used_mm, row.source, row.parts) == (7.0, "ncei", "rain:nasa_power")
    assert (change.before, change.after) == (None, ("nasa_power", "ncei"))
    # The days before told the same rain, but a grid is less sure of it than a gauge.
    assert Location.objects.get().stale_from == DAY - 9 * ONE
    # The newest word of a source still passes through the order.
    record_daily_weather(days=[new_day(rain_mm=1.0)], source="ncei", now=NOW)
    assert DailyWeather.objects.get(day=DAY).rain_used_mm == 7.0

    back = set_source_order(location_id=None, variable="rain", sources=None, now=NOW + ONE)

    assert back.before == ("nasa_power", "ncei")
    assert DailyWeather.objects.get(day=DAY).rain_used_mm == 1.0
    assert not SourceOrder.objects.exists()


@pytest.mark.django_db
def test_a_location_may_have_an_order_of_its_own() -> None:
    for source, rain in (("ncei", 0.0), ("nasa_power", 7.0)):
        record_daily_weather(days=[new_day(rain_mm=rain)], source=source, now=NOW)
    other = build_location("Elsewhere", latitude=44.0)

    elsewhere = set_source_order(location_id=other.pk, variable="rain", sources=("nasa_power",), now=NOW)
    here = set_source_order(
        location_id=Location.objects.get(name=FORD.name).pk, variable="rain", sources=("nasa_power",), now=NOW
    )

    assert (elsewhere.days, here.days) == (0, 1)
    assert set_source_order(location_id=None, variable="rain", sources=("ncei",), now=NOW).days == 0


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("variable", "sources"), [("snow", ("ncei",)), ("rain", ()), ("rain", ("a", "a")), ("rain", ("a b",))]
)
def test_an_order_that_is_none_is_refused(variable: str, sources: tuple[str, ...]) -> None:
    with pytest.raises(BadOrder):
        set_source_order(location_id=None, variable=variable, sources=sources, now=NOW)


@pytest.mark.django_db
def test_days_stored_before_there_were_orders_become_what_their_source_told() -> None:
    record_daily_weather(days=run_of_days(3), source="file a.csv", now=NOW)
    SourceDay.objects.all().delete()

    import_module("weather.migrations.0002_sources_by_variable").keep_what_was_told(apps, None)

    assert set(SourceDay.objects.values_list("source", "label")) == {("files", "file a.csv")}
    assert record_daily_weather(days=run_of_days(3), source="file a.csv", now=NOW).unchanged == 3


@pytest.mark.django_db
def test_a_question_is_asked_once_and_its_answer_stays() -> None:
    place = build_location(FORD.name)
    month = TallMonth(FORD.name, "2026-05", 1.27)
    ask_about_reference(months=[month], file="a.csv", now=NOW)

    change = answer_reference_question(location_id=place.pk, answer="tall", by="Hana Voss", now=NOW)
    ask_about_reference(months=[month, TallMonth(FORD.name, "2026-06", 1.30)], file="b.csv", now=NOW + ONE)

    asked = ReferenceQuestion.objects.get()
    assert (change.before, change.after) == ("", "tall")
    assert (asked.answer, asked.answered_by, asked.file) == ("tall", "Hana Voss", "b.csv")
    assert asked.words == "2026-05 1.27 times; 2026-06 1.30 times"
    with pytest.raises(NoSuchQuestion):
        answer_reference_question(location_id=place.pk, answer="maybe", by="x", now=NOW)
    with pytest.raises(NoSuchQuestion):
        answer_reference_question(location_id=place.pk + 1, answer="tall", by="x", now=NOW)
