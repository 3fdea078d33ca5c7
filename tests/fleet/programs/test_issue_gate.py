"""One gate at every door: a program that is held, or breaks a rule with no reason written, stays."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from fleet.models import Company, Finding, Stop, User, VisitNeed
from fleet.selectors.on_site.stop_sheet import stop_sheet
from fleet.selectors.programs.day_sheets import day_sheets
from fleet.selectors.programs.sheet import ProgramSheet, sheet_of
from fleet.services.on_site.check_findings import undo_finding
from fleet.services.on_site.findings import FindingInput, record_finding
from fleet.services.plan.plan_routes import plan_routes
from fleet.services.plan.routes_by_hand import publish_routes
from fleet.services.visits.raise_needs import raise_needs
from sites.exports import programs
from sites.models import (
    Change,
    Controller,
    ProgramLine,
    ProgramSet,
    Recommendation,
    RecommendationLine,
    RuleSet,
    RuleStage,
)
from sites.selectors.issue_gate import barred_programs
from sites.services.programs import decide_program
from sites.services.record_rules import import_rules
from tests.factories import DAY, build_controller, build_need, build_site, build_technician, build_zone

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
TWO_DAYS: dict[str, Any] = {"name": "two days", "weekdays": ["wed", "sat"], "windows": ["20:00-08:00"]}
REASON = "the supplier allowed it by letter of 3 June"
SignIn = Callable[[User], Client]


@pytest.fixture
def controller(company: Company) -> Controller:
    """A timer set to ten minutes twice a week, under rules that open Wednesday and Saturday nights."""
    del company
    made = RuleSet.objects.create(code="hill", supplier="Hill Water")
    RuleStage.objects.create(rule_set=made, name="two days", spec=TWO_DAYS)
    found = build_controller(build_site(rule_set="hill"))
    build_zone(found, 1)
    setting = ProgramSet.objects.create(controller=found, as_of=DAY.replace(month=4))
    ProgramLine.objects.create(
        program_set=setting, letter="A", days="wed,sat", starts="21:00", station=1, run_min=10, run_order=1
    )
    return found


def recommended(controller: Controller, *, days: str = "daily", **columns: Any) -> Recommendation:
    row = Recommendation.objects.create(
        controller=controller, week=DAY, is_change=True, computed_on=DAY, reasons=["because"], **columns
    )
    RecommendationLine.objects.create(
        recommendation=row, letter="A", days=days, starts="21:00", station=1, run_min=23, run_order=1
    )
    return row


def sheet(row: Recommendation) -> ProgramSheet:
    return sheet_of(controller=row.controller, answer=row, day=DAY)


@pytest.mark.parametrize("status", ["recommended", "accepted"])
def test_a_program_outside_the_rules_is_barred_until_a_reason_is_written(
    controller: Controller, status: str
) -> None:
    row = recommended(controller, status=status)

    bar = barred_programs(recommendation_ids=[row.pk])[row.pk]
    assert not bar.is_held
    assert bar.sentence.startswith("Not to be keyed in yet. Station 1: Mon 15 Jun")

    Recommendation.objects.filter(pk=row.pk).update(outside_reason=REASON)
    assert barred_programs(recommendation_ids=[row.pk]) == {}


def test_a_held_program_is_barred_whatever_is_written_and_one_in_the_timer_never(
    controller: Controller,
) -> None:
    row = recommended(controller, days="wed,sat", status="held", outside_reason=REASON)

    bar = barred_programs(recommendation_ids=[row.pk])[row.pk]
    assert bar.sentence == "Held by the office: not to be keyed in."
    Recommendation.objects.filter(pk=row.pk).update(status="keyed_in")
    assert barred_programs(recommendation_ids=[row.pk]) == {}


def test_the_sheet_of_a_barred_program_shows_what_is_set(
    controller: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    row = recommended(controller)
    page = reverse("fleet:sheet", args=["CB-14", "A"])
    client = sign_in(dispatcher)

    found = sheet(row)
    assert not found.is_change
    assert [step.new for letter in found.letters for step in letter.steps if step.station] == ["10 min"]
    for address in (page, f"{page}?for=home"):
        words = client.get(address).content.decode()
        assert "Set your timer like this" not in words
        assert "23 min" not in words
    assert "Not to be keyed in yet." in client.get(page).content.decode()

    Recommendation.objects.filter(pk=row.pk).update(status="held")
    held = client.get(page).content.decode()
    assert "Leave your timer as it is" in held
    assert "Held by the office: not to be keyed in." in held

    Recommendation.objects.filter(pk=row.pk).update(status="accepted", outside_reason=REASON)
    free = client.get(page).content.decode()
    assert "Set your timer like this" in free
    assert f"for a written reason: {REASON}." in free


def planned(controller: Controller) -> Stop:
    build_need(controller.site)
    build_technician("T1")
    plan_routes(now=NOW, week=DAY, seed=1, iterations=30)
    stop = Stop.objects.select_related("route").get(visit__site=controller.site)
    publish_routes(days=[stop.route.day])
    return stop


def test_a_day_s_print_leaves_barred_programs_out_and_names_them(
    controller: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    row = recommended(controller)
    day = planned(controller).route.day
    page = f"{reverse('fleet:sheets')}?date={day.isoformat()}"
    client = sign_in(dispatcher)

    assert [bool(one.sheet.barred) for one in day_sheets(user=dispatcher, day=day)] == [True]
    words = client.get(page).content.decode()
    assert "Set your timer like this" not in words
    assert "Not to be printed" in words
    assert "Not to be keyed in yet." in words

    Recommendation.objects.filter(pk=row.pk).update(outside_reason=REASON)
    words = client.get(page).content.decode()
    assert "Set your timer like this" in words
    assert "Not to be printed" not in words


def test_a_stop_shows_the_break_and_offers_nothing_to_key_in(
    controller: Controller, dispatcher: User, sign_in: SignIn
) -> None:
    row = recommended(controller)
    stop = planned(controller)
    client = sign_in(dispatcher)

    found = stop_sheet(stop_id=stop.pk)
    assert found is not None
    assert [(one.lines, one.program_set_id) for one in found.programs] == [((), row.pk)]
    assert found.to_key_in == ()
    words = client.get(reverse("fleet:stop", args=[stop.pk])).content.decode()
    assert "Not to be keyed in yet. Station 1: Mon 15 Jun" in words
    assert "program_keyed_in" not in words
    assert "23 min" not in words

    Recommendation.objects.filter(pk=row.pk).update(outside_reason=REASON)
    words = client.get(reverse("fleet:stop", args=[stop.pk])).content.decode()
    assert "program_keyed_in" in words
    assert "23 min" in words


@pytest.mark.parametrize(("days", "status"), [("daily", "recommended"), ("wed,sat", "held")])
def test_a_barred_program_that_was_keyed_in_is_recorded_and_the_office_is_told(
    controller: Controller, days: str, status: str
) -> None:
    row = recommended(controller, days=days, status=status)
    stop = planned(controller)
    said = FindingInput(
        client_key="k1", stop_id=stop.pk, recorded_at=NOW, program_keyed_in=True, program_ids=(row.pk,)
    )

    done = record_finding(finding=said, by="ines")
    record_finding(finding=said, by="ines")

    row.refresh_from_db()
    assert row.status == "keyed_in"
    assert ProgramLine.objects.filter(program_set__as_of=stop.route.day).get().run_min == 23
    bar = "Held by the office" if status == "held" else "Not to be keyed in yet. Station 1"
    need = VisitNeed.objects.get(origin="finding")
    assert (need.kind, need.state, need.controller) == ("program_change", "open", controller)
    assert bar in need.reason
    assert need.reason.endswith("or send somebody to set the timer back.")
    assert any(words.startswith(bar) and "the office is told" in words for words in done.changes)
    change = Change.objects.get(kind="recommendation")
    assert bar in change.reason
    assert change.after is not None
    assert bool(change.after.get("outside_hours")) == (status != "held")

    undo_finding(finding_id=Finding.objects.get().pk, by="hana", now=NOW, day=DAY)
    row.refresh_from_db()
    need.refresh_from_db()
    assert (row.status, need.state) == (status, "withdrawn")


def test_a_program_with_a_written_reason_is_keyed_in_without_a_word(controller: Controller) -> None:
    recommended(controller, outside_reason=REASON)
    stop = planned(controller)

    record_finding(
        finding=FindingInput(client_key="k1", stop_id=stop.pk, recorded_at=NOW, program_keyed_in=True),
        by="ines",
    )

    assert Recommendation.objects.get().status == "keyed_in"
    assert not VisitNeed.objects.filter(origin="finding").exists()
    assert Change.objects.get(kind="recommendation").reason == "keyed in at a visit"


def test_an_export_says_first_why_a_program_may_not_be_keyed_in(controller: Controller) -> None:
    row = recommended(controller)

    (line,) = programs.rows(week=DAY)
    assert str(line["reasons"]).startswith("Not to be keyed in yet. Station 1: Mon 15 Jun")
    assert str(line["reasons"]).endswith(" because")

    Recommendation.objects.filter(pk=row.pk).update(status="held")
    (line,) = programs.rows(week=DAY)
    assert str(line["reasons"]).startswith("Held by the office: not to be keyed in.")
    Recommendation.objects.filter(pk=row.pk).update(status="accepted", outside_reason=REASON)
    (line,) = programs.rows(week=DAY)
    assert line["reasons"] == "because"


def rules_file(folder: Path, *specs: dict[str, Any]) -> Path:
    file = folder / "rules.json"
    sets = [{"rule_set": "hill", "supplier": "Hill Water", "stages": list(specs)}]
    file.write_text(json.dumps({"rule_sets": sets}), encoding="utf-8")
    return file


def test_rules_of_a_file_take_accepted_programs_back_but_not_those_with_a_reason(
    controller: Controller, tmp_path: Path
) -> None:
    row = recommended(controller, days="wed,sat")
    decide_program(recommendation_id=row.pk, status="accepted", by="hana", at=NOW)
    file = rules_file(tmp_path, {"name": "one day", "weekdays": ["sun"], "windows": ["20:00-08:00"]})

    import_rules(path=file, by="ruth", now=NOW, dry_run=True)
    row.refresh_from_db()
    assert row.status == "accepted"

    report = import_rules(path=file, by="ruth", now=NOW)
    row.refresh_from_db()
    assert row.status == "recommended"
    assert report.warnings == (
        "1 accepted program no longer fits the watering rules: to be decided again in the weekly round.",
    )
    assert "rules hill changed" in Change.objects.filter(kind="recommendation").latest("pk").reason
    assert import_rules(path=file, by="ruth", now=NOW).warnings == ()

    decide_program(recommendation_id=row.pk, status="accepted", by="hana", at=NOW, note=REASON)
    import_rules(path=rules_file(tmp_path, TWO_DAYS | {"weekdays": ["mon"]}), by="ruth", now=NOW)
    row.refresh_from_db()
    assert row.status == "accepted"


def test_the_imports_page_says_how_many_programs_new_rules_reopen(
    controller: Controller, tmp_path: Path, dispatcher: User, sign_in: SignIn
) -> None:
    row = recommended(controller, days="wed,sat", status="accepted")
    file = rules_file(tmp_path, TWO_DAYS | {"weekdays": ["sun"]})
    client = sign_in(dispatcher)

    sent = client.post("/bring/", {"file": SimpleUploadedFile("rules.json", file.read_bytes())})
    page = str(sent["Location"])
    client.post(f"{page}save/")

    row.refresh_from_db()
    assert row.status == "recommended"
    words = client.get(page).content.decode()
    assert "To be decided" in words
    assert "1 accepted program no longer fits the watering rules" in words


def test_the_command_says_how_many_programs_new_rules_reopen(
    controller: Controller, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recommended(controller, days="wed,sat", status="accepted")

    call_command("import_rules", str(rules_file(tmp_path, TWO_DAYS | {"weekdays": ["sun"]})))

    assert "1 accepted program no longer fits the watering rules" in capsys.readouterr().out


def test_nobody_is_sent_to_key_in_a_barred_program(controller: Controller) -> None:
    row = recommended(controller)
    asked = VisitNeed.objects.filter(kind="program_change", state="open")

    raise_needs(day=DAY)
    assert not asked.exists()

    Recommendation.objects.filter(pk=row.pk).update(outside_reason=REASON)
    raise_needs(day=DAY)
    assert asked.count() == 1
