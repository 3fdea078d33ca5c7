"""Entries of audits: what they give, what is refused, and what the zone carries afterwards."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc.audit.entry import AuditEntry, BadEntry, audit_figures, read_cans, run_effect
from sites.calc.audit.words import entry_cautions, is_mixed, rate_ratio, rating
from sites.models import Change, Zone, ZoneAudit
from sites.selectors.zone_audits import run_effects, zone_standings
from sites.services.zone_audits import NoSuchAudit, record_zone_audit, withdraw_zone_audit
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_site, build_zone
from tests.sites.audit.test_cans import TWENTY_FOUR

THROAT_CM2 = 16.25 * 2.54**2
WORKED = AuditEntry(catch_ml=tuple(map(float, TWENTY_FOUR)), throat_area_cm2=THROAT_CM2, run_min=10.0)


def test_the_worked_audit_gives_the_worked_figures() -> None:
    # 24 cans, opening 16.25 in2, 10 minutes: DU 0.755, PR 0.790 in/h (constant 3.66 of the audit worksheets).
    figures = audit_figures(WORKED)

    assert figures.distribution_uniformity == pytest.approx(0.755, abs=0.0005)
    assert figures.precipitation_rate_mm_h is not None
    assert figures.precipitation_rate_mm_h / 25.4 == pytest.approx(0.790, abs=0.0006)
    assert figures.quarter == 6


def test_flow_and_area_give_the_trade_formula_and_the_share_that_the_cans_caught() -> None:
    # PR = 96.25 gpm / ft2: 12 gpm on 1200 ft2 is 0.9625 in/h.
    only_flow = AuditEntry(flow_l_min=12 * 3.785411784, area_m2=1200 * 0.09290304)
    both = AuditEntry(
        catch_ml=WORKED.catch_ml,
        throat_area_cm2=THROAT_CM2,
        run_min=10.0,
        flow_l_min=only_flow.flow_l_min,
        area_m2=only_flow.area_m2,
    )

    assert (audit_figures(only_flow).precipitation_rate_mm_h or 0) / 25.4 == pytest.approx(0.9625, rel=1e-6)
    assert audit_figures(only_flow).distribution_uniformity is None
    # The cans' rate counts; the meter's stands beside it.
    assert (audit_figures(both).precipitation_rate_mm_h or 0) / 25.4 == pytest.approx(0.790, abs=0.0006)
    assert audit_figures(both).caught_share == pytest.approx(0.790 / 0.9625, abs=0.001)


def test_pasted_cans_may_be_parted_by_anything_usual() -> None:
    assert read_cans("38 42\t35\n29;31, 44.5") == (38, 42, 35, 29, 31, 44.5)
    assert read_cans("") == ()


@pytest.mark.parametrize("text", ["38 x", "nan", "-1", "1e9", "3_8", "inf"])
def test_what_is_no_catch_is_refused_by_name(text: str) -> None:
    with pytest.raises(BadEntry, match="is no catch"):
        read_cans(text)


@pytest.mark.parametrize(
    ("entry", "field"),
    [
        (AuditEntry(catch_ml=(1.0, 2.0, 3.0)), "cans"),
        (AuditEntry(catch_ml=(0.0,) * 8), "cans"),
        (AuditEntry(catch_ml=(0.0, 0.0, 0.0, 40.0, 40.0, 40.0, 40.0, 40.0)), "cans"),
        (AuditEntry(catch_ml=(20.0,) * 8), "run_min"),
        (AuditEntry(catch_ml=(20.0,) * 8, run_min=10), "opening"),
        (AuditEntry(catch_ml=(20.0,) * 8, run_min=10, throat_area_cm2=0.01), "opening"),
        (AuditEntry(flow_l_min=20.0), "area"),
        (AuditEntry(flow_l_min=20.0, area_m2=0.001), "flow"),
        (AuditEntry(catch_ml=(1.0,) * 401), "cans"),
    ],
)
def test_an_entry_that_cannot_be_names_its_box(entry: AuditEntry, field: str) -> None:
    with pytest.raises(BadEntry) as caught:
        audit_figures(entry)

    assert caught.value.field == field


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(1, 200), min_size=4, max_size=60),
    st.floats(1, 60),
    st.floats(20, 400),
)
def test_the_uniformity_lies_between_0_and_1_and_forgets_order_and_unit(
    cans: list[float], minutes: float, opening: float
) -> None:
    entry = AuditEntry(catch_ml=tuple(cans), run_min=minutes, throat_area_cm2=opening)
    try:
        figures = audit_figures(entry)
    except BadEntry:
        return
    double = audit_figures(
        AuditEntry(
            catch_ml=tuple(2 * c for c in reversed(cans)), run_min=2 * minutes, throat_area_cm2=opening
        )
    )

    assert 0 < (figures.distribution_uniformity or 0) <= 1
    assert double.distribution_uniformity == pytest.approx(figures.distribution_uniformity)
    assert double.precipitation_rate_mm_h == pytest.approx(figures.precipitation_rate_mm_h)


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 60), st.floats(5, 80), st.floats(0.3, 1), st.floats(5, 80), st.floats(0.3, 1))
def test_the_new_minutes_give_the_depth_that_was_meant(
    minutes: float, rate: float, uniformity: float, new_rate: float, new_uniformity: float
) -> None:
    effect = run_effect("A", minutes, before=(rate, uniformity), after=(new_rate, new_uniformity))
    again = run_effect(
        "A", effect.same_depth_min, before=(new_rate, new_uniformity), after=(rate, uniformity)
    )

    assert again.depth_before_mm == pytest.approx(effect.depth_before_mm)
    meant, really = rate * (0.4 + 0.6 * uniformity), new_rate * (0.4 + 0.6 * new_uniformity)
    assert effect.same_depth_min / minutes == pytest.approx(meant / really)


def test_heads_of_different_rate_in_one_zone_are_mixed() -> None:
    # By the table of heads: fixed spray 41 mm/h, rotor 13 mm/h.
    assert rate_ratio({"fixed_spray": 4, "rotor": 2}) == pytest.approx(41 / 13, rel=0.03)
    assert is_mixed({"fixed_spray": 4, "rotor": 2})
    assert not is_mixed({"fixed_spray": 4, "rotor": 0})
    assert not is_mixed(None)


def test_the_scale_of_uniformity_depends_on_the_head() -> None:
    assert [rating(value, "rotor") for value in (0.85, 0.7, 0.6, 0.4)] == [
        "excellent", "good", "fair", "poor",
    ]  # fmt: skip
    assert rating(0.76, "fixed_spray") == "excellent"
    assert rating(0.7, "dripline") == ""


def test_cautions_name_what_makes_figures_unsure() -> None:
    entry = AuditEntry(
        catch_ml=(20.0, 10.0, 12.0, 14.0, 15.0),
        throat_area_cm2=100.0,
        run_min=10.0,
        wind_m_s=4.0,
        pressure_kpa=330.0,
        static_pressure_kpa=300.0,
        heads={"fixed_spray": 3, "rotor": 3},
    )
    said = " ".join(entry_cautions(entry, audit_figures(entry), "fixed_spray"))

    for words in ("are few", "no even quarter", "14 mL on average", "Wind above", "Mixed heads", "is high"):
        assert words in said
    assert entry_cautions(WORKED, audit_figures(WORKED), "rotor") == []


@pytest.fixture
def zone(db: None) -> Zone:
    return build_zone(build_controller(build_site()))


def keep(zone: Zone, entry: AuditEntry = WORKED, **other: Any) -> Any:
    given: dict[str, Any] = {
        "done_on": DAY,
        "done_by": "Ines Calder",
        "note": "",
        "client_key": "a",
        "today": DAY,
        "by": "ines",
        "at": NOW,
    }
    return record_zone_audit(zone_id=zone.pk, entry=entry, **(given | other))


def test_a_kept_audit_changes_the_zone_with_history_and_only_once(zone: Zone) -> None:
    done = keep(zone)
    again = keep(zone)

    zone.refresh_from_db()
    assert zone.distribution_uniformity == pytest.approx(0.755, abs=0.0005)
    assert (done.is_new, again.is_new, ZoneAudit.objects.count()) == (True, False, 1)
    change = Change.objects.get(kind="zone")
    assert change.before == {"distribution_uniformity": None, "precipitation_rate_mm_h": None}
    assert "audit of 2026-06-15 by Ines Calder" in change.reason
    standing = zone_standings(site=zone.controller.site)[0]
    assert (standing.rate_from, standing.uniformity_from) == ("audit", "audit")


def test_an_older_audit_is_kept_and_the_newer_one_goes_on_counting(zone: Zone) -> None:
    keep(zone)
    zone.refresh_from_db()
    measured = zone.distribution_uniformity

    done = keep(
        zone,
        AuditEntry(catch_ml=(20.0, 30.0, 40.0, 50.0), run_min=10, throat_area_cm2=100),
        done_on=DAY - timedelta(days=30),
        client_key="b",
    )

    zone.refresh_from_db()
    assert (done.changed, zone.distribution_uniformity) == ({}, measured)


def test_taking_an_audit_back_restores_what_was_there_before(zone: Zone) -> None:
    Zone.objects.filter(pk=zone.pk).update(precipitation_rate_mm_h=33.0)
    first = keep(zone)
    second = keep(
        zone,
        AuditEntry(catch_ml=(20.0, 30.0, 40.0, 50.0), run_min=10, throat_area_cm2=100),
        client_key="b",
    )

    withdraw_zone_audit(audit_id=second.audit_id, by="hana", at=NOW)
    zone.refresh_from_db()
    assert zone.distribution_uniformity == pytest.approx(0.755, abs=0.0005)
    withdraw_zone_audit(audit_id=first.audit_id, by="hana", at=NOW)

    zone.refresh_from_db()
    assert (zone.precipitation_rate_mm_h, zone.distribution_uniformity) == (33.0, None)
    with pytest.raises(NoSuchAudit):
        withdraw_zone_audit(audit_id=first.audit_id, by="hana", at=NOW)


def test_taking_back_leaves_a_value_that_somebody_changed_since(zone: Zone) -> None:
    done = keep(zone)
    Zone.objects.filter(pk=zone.pk).update(distribution_uniformity=0.6)

    withdraw_zone_audit(audit_id=done.audit_id, by="hana", at=NOW)

    zone.refresh_from_db()
    assert (zone.distribution_uniformity, zone.precipitation_rate_mm_h) == (0.6, None)


def test_a_pressure_alone_is_an_audit_and_nothing_is_none(zone: Zone) -> None:
    keep(zone, AuditEntry(pressure_kpa=210.0))
    with pytest.raises(BadEntry, match="nothing was measured"):
        keep(zone, AuditEntry(wind_m_s=1.0), client_key="b")
    with pytest.raises(BadEntry, match="a day up to"):
        keep(zone, done_on=DAY + timedelta(days=1), client_key="c")

    zone.refresh_from_db()
    assert zone.precipitation_rate_mm_h is None


def test_without_a_program_the_effect_is_shown_on_a_run_of_10_mm(zone: Zone) -> None:
    effects = run_effects(zone=zone, before=(40.0, 0.5), after=(20.0, 0.5), day=DAY)

    assert effects[0].depth_before_mm == pytest.approx(10.0)
    assert effects[0].run_min == pytest.approx(10 / (40 / 60 * 0.7))
    assert effects[0].same_depth_min == pytest.approx(2 * effects[0].run_min)
    assert np.isclose(effects[0].depth_after_mm, 5.0)
