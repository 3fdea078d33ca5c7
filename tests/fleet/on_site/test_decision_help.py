"""Decision help as data: every reading has one meaning and a next step; copper by its standard."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.on_site.check_steps import TRANSFORMER
from fleet.calc.on_site.checks import BY_CAUSE, BY_KIND
from fleet.calc.on_site.decision_help import COPPER_OHM_MM2_PER_M, HELP, Meaning, cable_ohm, solenoid_ohm
from fleet.calc.on_site.sensor_reading import ReadingBands, ReadingClass, classify_reading

CHECKS = {check.code: check for checks in (*BY_CAUSE.values(), *BY_KIND.values()) for check in checks}
NUMBERS = [code for code in HELP if HELP[code][0].choice == ""]


def meaning_of_number(code: str, value: float) -> Meaning | None:
    """The band that a number falls in, None where there is no help [-]."""
    for one in HELP.get(code, ()):
        if (
            not one.choice
            and (one.low is None or value >= one.low)
            and (one.high is None or value < one.high)
        ):
            return one
    return None


@pytest.mark.parametrize("code", NUMBERS)
@given(value=st.floats(0, 1e7))
def test_every_number_falls_into_one_band(code: str, value: float) -> None:
    fitting = [
        one
        for one in HELP[code]
        if (one.low is None or value >= one.low) and (one.high is None or value < one.high)
    ]

    assert len(fitting) == 1
    assert meaning_of_number(code, value) == fitting[0]


@pytest.mark.parametrize("code", sorted(HELP))
def test_every_answer_of_a_check_has_its_meaning_and_a_next_step(code: str) -> None:
    choices = {choice for choice, _ in CHECKS[code].choices}

    assert choices == {one.choice for one in HELP[code]} - {""}
    assert all(one.words.endswith(".") and one.then.endswith((".", "?")) for one in HELP[code])
    assert any(one.is_good for one in HELP[code])


@given(kohm=st.floats(0, 500))
def test_the_help_for_resistance_follows_the_classes(kohm: float) -> None:
    order = (
        ReadingClass.SHORTED, ReadingClass.SATURATED, ReadingClass.WORKING, ReadingClass.LOST_CONTACT,
        ReadingClass.OPEN,
    )  # fmt: skip
    found = meaning_of_number("resistance_kohm", kohm)

    assert found is not None
    assert HELP["resistance_kohm"].index(found) == order.index(classify_reading(kohm, ReadingBands()))


def test_copper_of_a_standard_wire_has_its_tabled_resistance() -> None:
    # 18 AWG: 6.385 ohm per 1000 ft at 20 degC (ASTM B258, copper of IEC 60028:1925; from memory).
    one_way = COPPER_OHM_MM2_PER_M * 304.8 / 0.823

    assert one_way == pytest.approx(6.385, rel=0.001)
    assert cable_ohm(304.8, 0.823) == pytest.approx(2 * 6.385, rel=0.001)


def test_the_cable_is_taken_off_a_solenoids_reading() -> None:
    assert solenoid_ohm(33.0, cable_ohm(50.0, 0.823)) == pytest.approx(33.0 - 2.0948, abs=0.001)
    with pytest.raises(ValueError, match="cable"):
        solenoid_ohm(2.0, 5.0)
    with pytest.raises(ValueError, match="section"):
        cable_ohm(10.0, 0.0)


def test_wires_are_touched_only_with_the_transformer_out() -> None:
    for code in ("resistance_kohm", "wet_kohm", "solenoid_ohm", "splice"):
        assert CHECKS[code].caution == TRANSFORMER
