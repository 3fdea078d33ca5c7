"""Readings at a granular matrix sensor: class first, then the tension of a named fit."""

from __future__ import annotations

import pytest

from fleet.calc.on_site.sensor_reading import (
    Fit,
    ReadingBands,
    ReadingClass,
    classify_reading,
    reading_words,
    resistance_to_expect,
    shock_resistance_kohm,
    shock_tension_kpa,
    tension_reading,
    thompson_armstrong_tension_kpa,
)

BANDS = ReadingBands()

# Shock, Barnum and Seddigh 1998 at 10, 15, 20, 24 and 30 degC, Thompson and Armstrong 1987 at 21 degC; the
# equations are from memory, the values computed from them independently to one decimal.
TABLE = {
    1: ((8.4, 9.0, 9.8, 10.4, 11.6), 4.3),
    2: ((12.2, 13.2, 14.2, 15.2, 17.0), 9.0),
    3: ((16.1, 17.4, 18.8, 20.1, 22.5), 14.4),
    4: ((20.2, 21.7, 23.5, 25.2, 28.3), 20.4),
    5: ((24.3, 26.2, 28.4, 30.4, 34.2), 27.4),
    6: ((28.5, 30.7, 33.4, 35.8, 40.3), 35.4),
    8: ((37.2, 40.2, 43.7, 47.1, 53.1), 55.7),
}
TEMPERATURES = (10, 15, 20, 24, 30)


@pytest.mark.parametrize("resistance", TABLE)
def test_shock_1998_gives_the_table(resistance: int) -> None:
    for temperature, expected in zip(TEMPERATURES, TABLE[resistance][0], strict=True):
        assert shock_tension_kpa(resistance, temperature) == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize("resistance", TABLE)
def test_thompson_and_armstrong_1987_gives_the_table(resistance: int) -> None:
    assert thompson_armstrong_tension_kpa(resistance, 21.0) == pytest.approx(TABLE[resistance][1], abs=0.06)


@pytest.mark.parametrize(
    ("resistance", "expected"),
    [
        (0.05, ReadingClass.SHORTED),
        (0.3, ReadingClass.SATURATED),
        (5.0, ReadingClass.WORKING),
        (60.0, ReadingClass.LOST_CONTACT),
        (250.0, ReadingClass.OPEN),
        (None, ReadingClass.OPEN),
    ],
)
def test_a_reading_is_classed_before_it_is_converted(
    resistance: float | None, expected: ReadingClass
) -> None:
    assert classify_reading(resistance, BANDS) is expected

    reading = tension_reading(resistance, 20.0, Fit.SHOCK_1998, BANDS)

    assert reading.reading_class is expected
    assert (reading.tension_kpa is not None) == (expected is ReadingClass.WORKING)


def test_outside_its_range_a_fit_is_never_extrapolated() -> None:
    # The denominator of the fit reaches zero near 73 kohm at 24 degC.
    drier = tension_reading(25.0, 24.0, Fit.SHOCK_1998, BANDS)
    wetter = tension_reading(0.7, 24.0, Fit.SHOCK_1998, BANDS)

    assert drier.tension_kpa is None
    assert drier.words.startswith("drier than 47 kPa")
    assert wetter.words.startswith("wetter than 10 kPa")


def test_thompson_and_armstrong_past_its_pole_is_drier_not_negative() -> None:
    reading = tension_reading(29.0, 21.0, Fit.THOMPSON_ARMSTRONG_1987, BANDS)

    assert reading.tension_kpa is None
    assert reading.words.startswith("drier than 100 kPa")


def test_the_method_stands_beside_the_number() -> None:
    assert "Shock" in tension_reading(4.0, 20.0, Fit.SHOCK_1998, BANDS).words
    assert "Thompson" in tension_reading(4.0, 20.0, Fit.THOMPSON_ARMSTRONG_1987, BANDS).words


def test_a_degree_is_worth_about_two_per_cent_of_tension() -> None:
    # Close to 1.8 % a degree at 3 kohm (computed from the fit).
    ratio = shock_tension_kpa(3.0, 21.0) / shock_tension_kpa(3.0, 20.0)

    assert 1.014 < ratio < 1.022


def test_bands_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="must rise"):
        ReadingBands(shorted_below_kohm=1.0, saturated_below_kohm=0.5)


def test_a_technicians_reading_is_told_with_its_method_or_why_it_has_no_tension() -> None:
    assert reading_words(3.0, 24.0) == "3 kohm at 24 degC: 20 kPa (Shock and others 1998)"
    assert reading_words(3.0, None) == "3 kohm: working range; no soil temperature, so no tension"
    assert reading_words(0.05, 24.0).endswith("wires touching, crushed cable or flooded splice: read as wet")
    assert reading_words(250.0, None).endswith("read as dry, never blocks")


def test_the_reading_to_expect_is_the_inverse_of_the_fit() -> None:
    for tension in (12.0, 25.2, 40.0):
        resistance = shock_resistance_kohm(tension, 24.0)
        assert shock_tension_kpa(resistance, 24.0) == pytest.approx(tension, rel=1e-9)
    # 25.2 kPa at 24 degC is the value of the 1998 fit at 4 kohm, at the printed precision.
    assert shock_resistance_kohm(25.2, 24.0) == pytest.approx(4.0, abs=0.01)


def test_no_reading_is_promised_outside_the_fit() -> None:
    assert resistance_to_expect(8.0, 20.0) == "below 1 kohm"
    assert resistance_to_expect(25.2, 24.0) == "about 4.0 kohm"
    assert resistance_to_expect(90.0, 20.0) == "above 8 kohm"
