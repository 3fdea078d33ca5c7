"""Checks on site: the facts of the trade are common practice, no source."""

from __future__ import annotations

import pytest

from fleet.calc.on_site.check_steps import DIGGING, LOCAL_CODES, SUPPLY_OFF, TRANSFORMER
from fleet.calc.on_site.checks import BY_CAUSE, BY_KIND, cautions_for, checks_for
from fleet.models import Cause, VisitKind


def test_every_kind_of_visit_and_every_cause_has_its_checks() -> None:
    assert set(BY_KIND) == set(VisitKind.values)
    assert set(BY_CAUSE) == set(Cause.values)


@pytest.mark.parametrize("kind", sorted(BY_KIND))
def test_checks_of_a_kind_have_names_of_their_own(kind: str) -> None:
    codes = [check.code for check in checks_for(kind)]

    assert len(set(codes)) == len(codes)


def test_a_new_sensor_is_wetted_for_hours_and_put_in_a_hole_of_its_size() -> None:
    codes = [check.code for check in checks_for("sensor_install")]
    words = {check.code: check.text for check in checks_for("sensor_install")}

    assert codes.index("prewet") < codes.index("core") < codes.index("moist_side")
    assert "hours" in words["prewet"]
    assert "goes in wet" in words["prewet"]
    assert "own size" in words["core"]
    assert "watertight" in words["splices"]
    assert "moist side" in words["moist_side"]
    assert "unused conductors" in words["spare"]


def test_papers_for_the_suppliers_rebate_are_kept_before_the_sensor_is_covered() -> None:
    codes = [check.code for check in checks_for("sensor_install")]
    papers = checks_for("sensor_install")[codes.index("papers")]

    assert codes.index("papers") < codes.index("core")
    assert "Water suppliers pay rebates" in papers.meaning
    assert "approved before it began" in papers.meaning
    for kept in ("controller's face", "sensor in the ground", "serial number", "invoice"):
        assert kept in papers.text


def test_nobody_digs_before_the_ticket_is_checked() -> None:
    for kind in ("dig", "sensor_install"):
        checks = checks_for(kind)
        ticket = next(n for n, check in enumerate(checks) if check.code == "ticket")
        assert checks[ticket].caution == DIGGING
        assert ticket < next(n for n, check in enumerate(checks) if check.code in ("core", "supply_off"))


def test_the_supply_is_off_first_and_the_transformer_out_before_wiring() -> None:
    assert checks_for("repair")[0].caution == SUPPLY_OFF
    exchange = [check.code for check in checks_for("move_station_wire")]
    assert exchange.index("wires_off") < exchange.index("tape") < exchange.index("exchange")
    assert checks_for("move_station_wire")[exchange.index("wires_off")].caution == TRANSFORMER
    assert exchange.index("exchange") < exchange.index("both_run") < exchange.index("label")
    tension = next(check for check in checks_for("sensor_check") if check.code == "resistance_kohm")
    assert tension.caution == TRANSFORMER


def test_patches_speak_of_coverage_and_even_dryness_of_the_setting() -> None:
    turf = next(check for check in checks_for("sensor_check") if check.code == "turf")

    assert "Patches inside the zone: a question of coverage" in turf.meaning
    assert "Evenly dry: the setting" in turf.meaning


def test_a_stop_ends_its_cautions_with_the_general_word_and_warns_of_heat() -> None:
    assert cautions_for(frozenset({"program_change"}), None) == (LOCAL_CODES,)
    hot = cautions_for(frozenset({"sensor_install"}), 36.4)
    assert hot[0] == DIGGING
    assert any(words.startswith("36 °C") for words in hot)
    assert hot[-1] == LOCAL_CODES


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="no checks"):
        checks_for("party")
