"""Pages of the watering rules: list, one set with its week, editor, history, the site's panel."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User
from sites.models import Change, RuleSet, RuleStage
from sites.selectors.rules import rule_set_content
from tests.factories import build_controller, build_site, build_zone

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]
SPEC: dict[str, Any] = {
    "name": "two days",
    "from": "2024-03-01",
    "until": None,
    "weekdays": {"odd": ["wed", "sat"], "even": ["thu", "sun"]},
    "windows": ["20:00-08:00", "12:00-24:00"],
    "source": "invented notice",
    "checked_on": "2026-06-01",
}


def rule_set(code: str = "hill", *specs: dict[str, Any]) -> RuleSet:
    made = RuleSet.objects.create(code=code, supplier="Hill Water")
    for spec in specs or (SPEC,):
        RuleStage.objects.create(rule_set=made, name=spec["name"], spec=spec)
    return made


def form_of(page: str) -> dict[str, Any]:
    """What a browser would send of the editor's form, unchanged."""
    sent: dict[str, Any] = {}
    body = page[page.index('class="ruleform"') :]
    for tag in re.findall(r"<input[^>]*>", body):
        name = re.search(r'name="([^"]+)"', tag)
        value = re.search(r'value="([^"]*)"', tag)
        if name is None or ('type="checkbox"' in tag and "checked" not in tag):
            continue
        sent.setdefault(name.group(1), []).append(value.group(1) if value else "on")
    for name, options in re.findall(r'<select[^>]*name="([^"]+)"[^>]*>(.*?)</select>', body, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', options) or re.search(
            r'<option value="([^"]*)"', options
        )
        sent[name] = [chosen.group(1) if chosen else ""]
    return sent


def test_the_list_tells_stage_check_and_sites_and_what_is_missing(
    company: Company, manager: User, sign_in: SignIn
) -> None:
    rule_set()
    rule_set("old", {**SPEC, "checked_on": "2025-01-01"})
    for code, rules in (("CB-1", "hill"), ("CB-2", "hill"), ("CB-3", "gone"), ("CB-4", "")):
        build_site(code, rule_set=rules)

    page = sign_in(manager).get(reverse("fleet:rules")).content.decode()

    assert "bind <b>2 of 4</b> sites" in page
    assert "<b>1</b> go by none" in page
    assert "not in the book" in page
    assert page.count("old: check it again") == 1
    assert "Write a rule set" not in page


def test_a_set_shows_the_week_of_a_site_and_of_an_address(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    rule_set()
    build_site("CB-1", rule_set="hill", address="9 Kiln Lane")
    client = sign_in(dispatcher)
    address = reverse("fleet:rule-set", args=["hill"])

    page = client.get(address).content.decode()
    assert "In the week from 22\u00a0Jun, CB-1 9 Kiln Lane may water" in page
    assert "Mon is not among the days of odd numbers (Wed, Sat)" in page
    assert "style=" not in page

    other = client.get(address, {"address": "12 Mill Road", "week": "2026-10-26"}).content.decode()
    assert "days of even numbers (Thu, Sun)" in other
    assert "shows 1:00 to 2:00 twice" in other

    assert "shows none" in client.get(address, {"address": "Old Mill"}).content.decode()
    assert "No site has the code" in client.get(address, {"site": "<b>"}).content.decode()


def test_the_form_sent_back_as_it_came_changes_nothing(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    digits = {"name": "digits", "address_rule": "last_digit", "weekdays": {"01": ["mon"], "23": ["tue"]}}
    rule_set("hill", SPEC, {**SPEC, "name": "drip", "applies_to": {"heads": ["dripline"]}}, digits)
    client = sign_in(dispatcher)
    address = reverse("fleet:rule-edit", args=["hill"])
    sent = form_of(client.get(address).content.decode())

    response = client.post(address, {**sent, "do": "save"}, follow=True)

    assert "says this already" in response.content.decode()
    assert Change.objects.count() == 0


def test_an_edit_in_the_form_is_saved_with_who_and_why(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    rule_set()
    client = sign_in(dispatcher)
    address = reverse("fleet:rule-edit", args=["hill"])
    sent = form_of(client.get(address).content.decode())
    sent.update({"s0-opens0": "21:00", "s0-max_minutes_per_station": "12.5", "s0-bar_31st": "on"})

    client.post(address, {**sent, "do": "save", "reason": "notice of June"})

    found = rule_set_content(code="hill")
    assert found is not None
    assert found.specs[0]["windows"] == ["21:00-08:00", "12:00-24:00"]
    assert found.specs[0]["max_minutes_per_station"] == 12.5
    assert found.specs[0]["weekdays"] == SPEC["weekdays"]
    change = Change.objects.get()
    assert (change.by, change.reason) == ("hana", "notice of June")


def test_wrong_fields_are_named_and_what_was_written_stays(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    rule_set()
    client = sign_in(dispatcher)
    address = reverse("fleet:rule-edit", args=["hill"])
    sent = form_of(client.get(address).content.decode())
    sent.update({"s0-opens0": "25:00", "s0-max_days_per_week": "many"})

    response = client.post(address, {**sent, "do": "save"})

    page = response.content.decode()
    assert response.status_code == 422
    assert "“two days”, windows: expected" in page
    assert "“two days”, max_days_per_week: expected" in page
    assert 'value="25:00"' in page
    assert Change.objects.count() == 0


def test_a_stage_is_added_previewed_and_left_out(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    rule_set()
    build_site("CB-1", rule_set="hill")
    client = sign_in(dispatcher)
    address = reverse("fleet:rule-edit", args=["hill"])
    sent = form_of(client.get(address).content.decode())

    more = client.post(address, {**sent, "do": "add"}).content.decode()
    sent = form_of(more)
    assert sent["count"] == ["2"]
    sent.update({"s1-name": "ban", "s1-max_days_per_week": "0", "s1-from": "2026-06-22"})
    preview = client.post(address, {**sent, "do": "preview", "site": "CB-1"}).content.decode()
    assert "not saved yet" in preview
    assert "no watering at all" in preview
    assert Change.objects.count() == 0

    client.post(address, {**sent, "do": "save", "s0-out": "on"})
    found = rule_set_content(code="hill")
    assert found is not None
    assert [spec["name"] for spec in found.specs] == ["ban"]


def test_json_goes_through_the_same_check(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    client = sign_in(dispatcher)
    address = reverse("fleet:rule-new")
    assert client.get(address, {"raw": ""}).status_code == 200

    broken = client.post(address, {"raw": "1", "text": '{"rule_set": "x",\n "stages": [}', "do": "save"})
    assert "JSON: line 2" in broken.content.decode()
    wrong = {"rule_set": "x", "supplier": "", "stages": [{"name": "a", "dates": "prime"}]}
    refused = client.post(address, {"raw": "1", "text": json.dumps(wrong), "do": "save"})
    assert "“a”, dates: expected any, odd or even." in refused.content.decode()
    nan = client.post(address, {"raw": "1", "text": '{"rule_set": NaN}', "do": "save"})
    assert "NaN is not JSON" in nan.content.decode()

    good = {"rule_set": "x", "supplier": "S", "stages": [{"name": "a", "dates": "odd"}]}
    client.post(address, {"raw": "1", "text": json.dumps(good), "do": "save"})
    found = rule_set_content(code="x")
    assert found is not None
    assert found.plain == good


def test_two_editors_and_the_way_back(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    rule_set()
    client = sign_in(dispatcher)
    address = reverse("fleet:rule-edit", args=["hill"])
    sent = form_of(client.get(address).content.decode())
    client.post(address, {**sent, "do": "save", "s0-opens0": "21:00"})

    late = client.post(address, {**sent, "do": "save", "s0-opens0": "22:00"}).content.decode()
    assert "Somebody else changed these rules" in late
    assert 'value="22:00"' in late

    newest = form_of(client.get(address).content.decode())
    client.post(address, {**newest, "do": "save", "s0-opens0": "19:00"})
    first = Change.objects.order_by("pk").first()
    assert first is not None
    client.post(reverse("fleet:rule-restore", args=[first.pk]))
    found = rule_set_content(code="hill")
    assert found is not None
    assert found.specs[0]["windows"][0] == "21:00-08:00"  # type: ignore[index]
    page = client.get(reverse("fleet:rule-set", args=["hill"])).content.decode()
    assert "windows: 19:00-08:00, 12:00-24:00 → 21:00-08:00, 12:00-24:00" in page


def test_a_set_that_binds_nobody_can_be_removed(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    rule_set()
    client = sign_in(dispatcher)
    found = rule_set_content(code="hill")
    assert found is not None

    client.post(reverse("fleet:rule-remove", args=["hill"]), {"version": "stale"})
    assert RuleSet.objects.exists()
    client.post(reverse("fleet:rule-remove", args=["hill"]), {"version": found.version})
    assert not RuleSet.objects.exists()
    assert client.get(reverse("fleet:rule-set", args=["hill"])).status_code == 404


def test_managers_read_and_technicians_do_not_even_that(
    company: Company, manager: User, stranger: User, sign_in: SignIn
) -> None:
    rule_set()
    client = sign_in(manager)
    assert client.get(reverse("fleet:rule-set", args=["hill"])).status_code == 200
    assert client.get(reverse("fleet:rule-edit", args=["hill"])).status_code == 403
    assert client.post(reverse("fleet:rule-restore", args=[1])).status_code == 403

    client = sign_in(stranger)
    assert client.get(reverse("fleet:rules")).status_code == 403


def test_the_site_page_shows_when_its_zones_may_be_watered(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    spray = {"name": "sprays", "weekdays": ["wed"], "applies_to": {"heads": ["fixed_spray"]}}
    rule_set("hill", spray)
    controller = build_controller(build_site("CB-1", rule_set="hill"))
    build_zone(controller, 1, name="lawn")
    build_zone(controller, 2, name="<i>bed", head="dripline")
    build_site("CB-2")
    build_site("CB-3", rule_set="gone")
    client = sign_in(dispatcher)

    page = client.get(reverse("fleet:site", args=["CB-1"])).content.decode()
    assert "seven days from 15\u00a0Jun" in page
    assert page.count('class="plot weekgrid"') == 2
    assert "A/2 &lt;i&gt;bed" in page
    assert "names no rules for this site" in client.get(reverse("fleet:site", args=["CB-2"])).content.decode()
    assert "holds none of that name" in client.get(reverse("fleet:site", args=["CB-3"])).content.decode()


def test_no_rules_yet_says_what_that_means(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    assert "every hour counts as open" in sign_in(dispatcher).get(reverse("fleet:rules")).content.decode()
