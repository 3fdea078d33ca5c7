"""Entering an audit: shown before it is saved, in the reader's units, guarded like the site."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User
from sites.models import Controller, ProgramLine, ProgramSet, ZoneAudit
from tests.factories import build_controller, build_site, build_zone
from tests.sites.audit.test_cans import TWENTY_FOUR

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]
ADDRESS = ("CB-14", "A", 1)


@pytest.fixture
def garden(company: Company) -> Controller:
    controller = build_controller(build_site())
    build_zone(controller, 1, name="<b>front</b>", head="rotor", plant="cool_turf")
    build_zone(controller, 2, distribution_uniformity=0.7, precipitation_rate_mm_h=12.0)
    setting = ProgramSet.objects.create(controller=controller, as_of=date(2026, 4, 1))
    ProgramLine.objects.create(
        program_set=setting, letter="A", days="daily", starts="04:00", station=1, run_min=20, run_order=1
    )
    return controller


def sent(**other: Any) -> dict[str, Any]:
    return {
        "client_key": "k1",
        "done_on": "2026-06-15",
        "done_by": "Ines Calder",
        "paste": " ".join(map(str, TWENTY_FOUR)),
        "run_min": "10",
        "opening": "16.25",
        "opening_unit": "in2",
        "do": "check",
    } | other


def test_checking_shows_the_effect_and_saves_nothing(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    page = sign_in(dispatcher).post(reverse("fleet:zone-audit", args=ADDRESS), sent())

    text = page.content.decode()
    assert page.status_code == 200
    assert "<b>0.76</b>" in text
    assert "good" in text
    assert "Minutes for what was meant" in text
    assert "6 of 24 cans" in text
    assert ZoneAudit.objects.count() == 0
    assert "<b>front" not in text


def test_a_long_run_is_told_in_cycles_with_their_soak(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    ProgramLine.objects.update(run_min=60)
    client, address = sign_in(dispatcher), reverse("fleet:zone-audit", args=ADDRESS)

    text = client.post(address, sent()).content.decode()
    slow = client.post(address, sent(run_min="60")).content.decode()

    # Clay loam: 20.1 mm/h by the cans against an intake of 5.1 mm/h (Irrigation Association 2005).
    assert re.search(r"2 × 1\d\.\d min, [45]\d min soak between", text)
    assert "a run takes 1.17 times the minutes of even heads" in text
    assert "uniformity of the lower half 0.84" in text
    assert "one run" in slow
    assert re.search(r'<td class="num new">none</td>', slow)


def test_saving_needs_that_just_these_figures_were_shown(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    client, address = sign_in(dispatcher), reverse("fleet:zone-audit", args=ADDRESS)
    seen = client.post(address, sent()).context["form"].seen

    changed = client.post(address, sent(do="save", seen=seen, run_min="12"))
    assert ZoneAudit.objects.count() == 0
    assert "look at the effect again" in changed.content.decode()
    kept = client.post(address, sent(do="save", seen=seen), follow=True)

    assert ZoneAudit.objects.get().distribution_uniformity == pytest.approx(0.755, abs=0.001)
    assert "<b>2 of 2 zones</b>" in kept.content.decode()


def test_a_us_readers_flow_area_and_pressure_become_si(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    User.objects.filter(pk=dispatcher.pk).update(units="us")
    client, address = sign_in(dispatcher), reverse("fleet:zone-audit", args=ADDRESS)
    entry = sent(paste="", run_min="", opening="", flow="12", area="1200", pressure="30", static="60")

    seen = client.post(address, entry).context["form"].seen
    client.post(address, entry | {"do": "save", "seen": seen})

    row = ZoneAudit.objects.get()
    assert row.precipitation_rate_mm_h == pytest.approx(0.9625 * 25.4)
    assert row.pressure_kpa == pytest.approx(30 * 6.894757)
    garden.zones.get(station=1)
    assert garden.zones.get(station=1).flow_l_min == pytest.approx(12 * 3.785411784)


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"paste": "1 2 three 4"}, "is no catch"),
        ({"paste": "20 20 20 20", "run_min": "0"}, "a number above 0"),
        ({"paste": "20 20 20 20", "opening": ""}, "the opening of a can"),
        ({"done_on": "soon"}, "a day as"),
        ({"done_by": " "}, "who measured"),
        ({"heads-rotor": "two"}, "whole numbers"),
    ],
)
def test_what_cannot_be_is_said_at_its_box_and_nothing_is_lost(
    garden: Controller, dispatcher: User, sign_in: SignIn, other: dict[str, str], words: str
) -> None:
    page = sign_in(dispatcher).post(reverse("fleet:zone-audit", args=ADDRESS), sent(**other))

    assert page.status_code == 400
    assert words in page.content.decode()
    assert 'value="Ines Calder"' in page.content.decode() or "done_by" in other


def test_a_decimal_comma_in_a_box_is_one_can(garden: Controller, dispatcher: User, sign_in: SignIn) -> None:
    page = sign_in(dispatcher).post(
        reverse("fleet:zone-audit", args=ADDRESS), sent(paste="", can=["38,5", "40", "", "42", "44"])
    )

    assert page.context["form"].entry.catch_ml == (38.5, 40.0, 42.0, 44.0)


def test_mixed_heads_warn_on_the_page_and_on_the_list(
    garden: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    client, address = sign_in(dispatcher), reverse("fleet:zone-audit", args=ADDRESS)
    entry = sent(**{"heads-rotor": "4", "heads-fixed_spray": "2"})
    first = client.post(address, entry)
    client.post(address, entry | {"do": "save", "seen": first.context["form"].seen})

    assert "Mixed heads" in first.content.decode()
    for name in ("fleet:site-audits", "fleet:site"):
        assert "mixed heads" in client.get(reverse(name, args=["CB-14"])).content.decode()


def test_an_audit_can_be_taken_back(garden: Controller, dispatcher: User, sign_in: SignIn) -> None:
    client, address = sign_in(dispatcher), reverse("fleet:zone-audit", args=ADDRESS)
    seen = client.post(address, sent()).context["form"].seen
    client.post(address, sent(do="save", seen=seen))

    client.post(reverse("fleet:zone-audit-withdraw", args=["CB-14", ZoneAudit.objects.get().pk]))

    assert garden.zones.get(station=1).distribution_uniformity is None
    assert client.get(reverse("fleet:zone-audit-withdraw", args=["CB-14", 1])).status_code == 405


def test_a_stranger_finds_no_audit(garden: Controller, stranger: User, sign_in: SignIn) -> None:
    client = sign_in(stranger)

    assert client.get(reverse("fleet:zone-audit", args=ADDRESS)).status_code == 404
    assert client.post(reverse("fleet:zone-audit", args=ADDRESS), sent(do="save")).status_code == 404
    assert client.get(reverse("fleet:site-audits", args=["CB-14"])).status_code == 404
    assert client.get(reverse("fleet:zone-audit", args=["CB-14", "A", 9])).status_code == 404
