"""Prices and times: bounds, history, undo, and what a change would do to the week."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.visits.setting_facts import FACTS
from fleet.calc.visits.settings import RUSH_HOURS, VisitSettings, planned_min, visit_settings
from fleet.calc.visits.value_order import order_change, taken_by_value
from fleet.models import Company, Flag, Route, StageRun, Stop, User, VisitNeed
from fleet.selectors.visits.settings_page import settings_in_force
from fleet.services.visits.needs_by_hand import NeedInput, add_need
from fleet.services.visits.raise_needs import raise_needs
from fleet.services.visits.settings import BadSetting, CannotPutBack, put_back_settings, save_settings
from fleet.services.visits.settings_preview import preview_settings
from sites.models import Change
from tests.conftest import DAY, NOW
from tests.factories import (
    build_controller,
    build_need,
    build_sensor,
    build_site,
    build_technician,
    build_visit,
)

SignIn = Callable[[User], Client]
WHO: dict[str, Any] = {"by": "hana", "now": NOW}


def test_every_setting_has_its_fact_and_its_default_lies_within_the_bounds() -> None:
    names = [fact.name for fact in FACTS]

    # The hours with longer driving are lines of text, with a form of their own.
    assert sorted([*names, RUSH_HOURS]) == sorted(one.name for one in fields(VisitSettings))
    for fact in FACTS:
        assert fact.low <= getattr(VisitSettings(), fact.name) <= fact.high, fact.name
        assert fact.source
        assert fact.unit


def test_minutes_of_a_kind_are_a_setting() -> None:
    own = visit_settings({"visits.min_audit": 50, "visits.service_factor": 1.5})

    assert planned_min(own, "audit") == 75.0
    assert planned_min(VisitSettings(), "audit") == 75.0


def test_held_visits_stay_and_the_rest_are_taken_by_value_per_minute() -> None:
    """Worked by hand: 100 min; the held one takes 40; 30 min are worth 3 a minute, 30 min 2, 20 min 1."""
    value = np.array([60.0, 90.0, 20.0, 5.0])
    minutes = np.array([30.0, 30.0, 20.0, 40.0])
    held = np.array([False, False, False, True])

    taken = taken_by_value(value, minutes, held, 100.0)

    assert taken.tolist() == [True, True, False, True]
    assert taken_by_value(value, minutes, held, 90.0).tolist() == [False, True, True, True]


@given(
    st.lists(st.tuples(st.floats(0, 500), st.floats(5, 240), st.booleans()), min_size=1, max_size=20),
    st.floats(0, 2000),
)
def test_equal_prices_change_nothing_and_room_is_kept(
    rows: list[tuple[float, float, bool]], room: float
) -> None:
    value, minutes = np.array([r[0] for r in rows]), np.array([r[1] for r in rows])
    held = np.array([r[2] for r in rows], dtype=np.bool_)
    room += float(minutes[held].sum())

    change = order_change(value, value, minutes, minutes, held, room)
    taken = taken_by_value(value, minutes, held, room)

    assert not change.comes_in.any()
    assert not change.drops_out.any()
    assert minutes[taken].sum() <= room + 1e-6
    assert taken[held].all()


@pytest.mark.django_db
def test_a_change_is_kept_bounded_noted_and_put_back(company: Company) -> None:
    company.settings = {"phone.days_back": 3, "cost_per_km": 0.5}
    company.save()

    saved = save_settings(changes={"cost_per_km": 0.6, "turf_per_m2": 12.0}, **WHO)

    company.refresh_from_db()
    assert saved.changed == ("cost_per_km", "turf_per_m2")
    assert company.settings == {"phone.days_back": 3, "visits.cost_per_km": 0.6, "visits.turf_per_m2": 12.0}
    entry = Change.objects.get(kind="visit_settings")
    assert entry.before == {"cost_per_km": 0.5, "turf_per_m2": None}
    assert save_settings(changes={"cost_per_km": 0.6}, **WHO).changed == ()

    put_back_settings(change_id=entry.pk, **WHO)
    assert settings_in_force() == replace(VisitSettings(), cost_per_km=0.5)
    with pytest.raises(CannotPutBack, match="already"):
        put_back_settings(change_id=entry.pk, **WHO)
    with pytest.raises(CannotPutBack, match="not in the history"):
        put_back_settings(change_id=0, **WHO)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"cost_per_km": -1.0}, "expected 0 to 20"),
        ({"cost_per_km": 21.0}, "expected 0 to 20"),
        ({"turf_days": 0.0}, "expected 3 to 60"),
        ({"break_from_h": 15.0, "break_to_h": 12.0}, "wrong order"),
        ({"gold": 1.0}, "no such setting"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_changes(
    company: Company, changes: dict[str, float | None], words: str
) -> None:
    with pytest.raises(BadSetting, match=words):
        save_settings(changes=changes, **WHO)

    assert settings_in_force() == VisitSettings()
    assert not Change.objects.exists()


def a_week_with_a_flag() -> tuple[VisitNeed, VisitNeed]:
    """A flag's check that waits, and a dearer call of a person that is on the route."""
    site, other = build_site(), build_site("QT-01", latitude=41.21)
    controller = build_controller(site)
    build_sensor(controller)
    Flag.objects.create(
        controller=controller,
        cause="stuck_dry",
        raised_on=DAY,
        probability=0.9,
        litres_at_stake_per_week=7000,
    )
    raise_needs(day=DAY)
    check = VisitNeed.objects.get(kind="sensor_check")
    call = build_need(other, kind="complaint", origin=VisitNeed.Origin.PERSON, value_per_day=5.0)
    waits = build_visit(site, service_min=check.service_min)
    waits.needs.add(check)
    goes = build_visit(other)
    goes.needs.add(call)
    route = Route.objects.create(
        technician=build_technician(), day=DAY, start_at=NOW, end_at=NOW, planned_at=NOW, drive_km=10
    )
    Stop.objects.create(
        route=route,
        order=1,
        visit=goes,
        arrive=NOW,
        depart=NOW + timedelta(hours=1),
        drive_km=10,
        drive_min=12,
    )
    return check, call


@pytest.mark.django_db
def test_the_preview_uses_the_code_that_values_needs(company: Company) -> None:
    """7 m3 a week at 2 USD are 2 USD a day; at 20 USD they are 20, and the check outweighs the call."""
    check, _ = a_week_with_a_flag()
    used = settings_in_force()
    tried = replace(used, water_price_per_m3=20.0, min_sensor_check=35.0, cost_per_km=0.9)

    found = preview_settings(now_used=used, tried=tried, day=DAY)

    assert [(one.site, one.before, one.after) for one in found.rises] == [("CB-14", 2.0, 20.0)]
    assert (found.fall_count, found.raised_count, found.gone_count) == (0, 0, 0)
    assert [one.site for one in found.comes_in] == ["CB-14"]
    assert [one.site for one in found.drops_out] == ["QT-01"]
    assert found.driving_after - found.driving_before == pytest.approx(4.5)
    check.refresh_from_db()
    assert check.value_per_day == 2.0  # nothing is written
    save_settings(changes={"water_price_per_m3": 20.0}, **WHO)
    raise_needs(day=DAY)
    check.refresh_from_db()
    assert check.value_per_day == 20.0  # and the real run says the same


@pytest.mark.django_db
def test_a_preview_of_the_same_prices_is_empty_and_told_visits_stay(company: Company) -> None:
    _, call = a_week_with_a_flag()
    used = settings_in_force()

    same = preview_settings(now_used=used, tried=used, day=DAY)
    assert (same.rise_count, same.fall_count, same.in_count, same.out_count) == (0, 0, 0, 0)

    call.visits.update(told_at=NOW)
    dear = replace(used, water_price_per_m3=20.0, min_sensor_check=35.0)
    assert preview_settings(now_used=used, tried=dear, day=DAY).out_count == 0


@pytest.mark.django_db
def test_fewer_days_between_audits_raise_needs_in_the_preview(company: Company) -> None:
    build_site(imported_on=DAY - timedelta(days=200))
    used = settings_in_force()

    found = preview_settings(now_used=used, tried=replace(used, audit_every_days=180.0), day=DAY)

    assert [(one.site, one.kind, one.before) for one in found.raised] == [("CB-14", "audit", None)]
    assert found.gone_count == 0


@pytest.mark.django_db
def test_the_page_tries_keeps_and_refuses(sign_in: SignIn, company: Company, dispatcher: User) -> None:
    client = sign_in(dispatcher)
    a_week_with_a_flag()
    url = reverse("fleet:settings-save")

    tried = client.post(url, {"do": "try", "water_price_per_m3": "20"})
    bad = client.post(url, {"do": "save", "water_price_per_m3": "dear", "cost_per_km": "0,5"})
    far = client.post(url, {"do": "save", "cost_per_km": "99"})

    assert tried.status_code == 200
    assert "Not kept yet" in tried.content.decode()
    assert 'value="20"' in tried.content.decode()
    assert (bad.status_code, far.status_code) == (422, 422)
    assert "expected a number" in bad.content.decode()
    assert settings_in_force() == VisitSettings()
    kept = client.post(url, {"do": "save", "cost_per_km": "0,5", "turf_per_m2": ""}, follow=True)
    assert settings_in_force().cost_per_km == 0.5
    assert StageRun.objects.filter(stage="raise_needs").exists()
    assert "Put back" in kept.content.decode()
    client.post(reverse("fleet:settings-back", args=[Change.objects.get(kind="visit_settings").pk]))
    assert settings_in_force() == VisitSettings()


@pytest.mark.django_db
def test_a_priority_is_worth_what_the_setting_says(company: Company) -> None:
    save_settings(changes={"priority_value": 4.0, "min_repair": 33.0}, **WHO)
    need = NeedInput(kind="repair", reason="head broken", priority=3)

    add_need(site_id=build_site().pk, need=need, day=DAY, **WHO)

    row = VisitNeed.objects.get()
    assert (row.value_per_day, row.service_min) == (12.0, 33.0)
