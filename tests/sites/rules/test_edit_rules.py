"""Rule sets edited by hand: checked, kept in the history, brought back; a stage switched on a date."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from sites.calc.rules.switch import COMMON_STAGES, switched_stages
from sites.importing.rules import check_rule_set
from sites.models import Change, RuleSet
from sites.selectors.rules import rule_set_content, rule_versions
from sites.services.edit_rules import (
    NothingToRestore,
    RulesChangedMeanwhile,
    RuleSetBindsSites,
    RuleSetInvalid,
    RuleSetSaved,
    remove_rule_set,
    restore_rule_set,
    save_rule_set,
    switch_stage,
)
from tests.factories import build_site

NOW = datetime(2026, 6, 15, 13, 30, tzinfo=UTC)
STAGE: dict[str, Any] = {"name": "two days", "weekdays": ["wed", "sat"], "windows": ["20:00-08:00"]}


def content(*stages: dict[str, Any], supplier: str = "Hill") -> dict[str, Any]:
    return {"rule_set": "hill", "supplier": supplier, "stages": list(stages or (STAGE,))}


def save(what: dict[str, Any], version: str = "") -> RuleSetSaved:
    return save_rule_set(content=what, version=version, by="hana", at=NOW, reason="new notice")


def version() -> str:
    found = rule_set_content(code="hill")
    return found.version if found else ""


@pytest.mark.django_db
def test_a_saved_rule_set_is_stored_and_kept_in_the_history() -> None:
    assert save(content()).is_new

    found = rule_set_content(code="hill")
    assert found is not None
    assert found.specs == (STAGE,)
    change = Change.objects.get(kind="rule_set", key="hill")
    assert (change.by, change.action, change.reason) == ("hana", "added", "new notice")
    assert change.after == {"supplier": "Hill", "stages": [STAGE]}


@pytest.mark.django_db
def test_saving_the_same_again_changes_nothing() -> None:
    save(content())

    assert not save(content(), version()).changed
    assert Change.objects.count() == 1


@pytest.mark.django_db
def test_the_second_of_two_editors_is_told_and_overwrites_nothing() -> None:
    save(content())
    opened = version()
    save(content({**STAGE, "windows": ["21:00-06:00"]}), opened)

    with pytest.raises(RulesChangedMeanwhile, match="Somebody else"):
        save(content({**STAGE, "weekdays": ["mon"]}), opened)
    with pytest.raises(RulesChangedMeanwhile, match="already"):
        save(content())
    assert rule_set_content(code="hill").specs[0]["windows"] == ["21:00-06:00"]  # type: ignore[union-attr]


@pytest.mark.django_db
def test_a_wrong_rule_set_is_refused_with_every_field_and_nothing_is_written() -> None:
    with pytest.raises(RuleSetInvalid) as caught:
        save(content({"name": "a", "windows": ["9-10"], "dates": "prime"}, {"name": "b", "until": "soon"}))

    assert [problem.column for problem in caught.value.problems] == [
        "stages[1].windows", "stages[1].dates", "stages[2].until",
    ]  # fmt: skip
    assert not RuleSet.objects.exists()
    assert not Change.objects.exists()


@pytest.mark.parametrize(
    ("what", "column"),
    [
        ([], "rule_sets"),
        ({"rule_set": "a/b", "stages": []}, "rule_set"),
        ({"rule_set": "", "stages": []}, "rule_set"),
        ({"rule_set": "a", "supplier": "x\x00", "stages": []}, "supplier"),
        ({"rule_set": "a", "supplier": "x", "stages": [], "town": "y"}, "town"),
        ({"rule_set": "a", "stages": ["night"]}, "stages[1]"),
        ({"rule_set": "a", "stages": [{"name": "n"}, {"name": "n"}]}, "stages[2].name"),
    ],
)
def test_what_is_no_rule_set_is_refused_by_name(what: object, column: str) -> None:
    assert check_rule_set(what).problems[0].column == column


@pytest.mark.django_db
def test_an_older_version_comes_back_and_can_be_undone_itself() -> None:
    save(content())
    save(content({**STAGE, "windows": ["21:00-06:00"]}, supplier="Hillside"), version())
    newest, first = rule_versions(code="hill")
    assert (newest.is_current, first.can_restore) == (True, True)
    assert "“two days”, windows: 20:00-08:00 → 21:00-06:00" in newest.changes

    restore_rule_set(change_id=first.change_id, by="hana", at=NOW)

    assert rule_set_content(code="hill").specs == (STAGE,)  # type: ignore[union-attr]
    assert Change.objects.count() == 3
    assert not restore_rule_set(change_id=first.change_id, by="hana", at=NOW).changed
    with pytest.raises(NothingToRestore):
        restore_rule_set(change_id=0, by="hana", at=NOW)


@pytest.mark.django_db
def test_a_set_that_binds_sites_stays_and_a_removed_one_can_come_back() -> None:
    save(content())
    site = build_site(rule_set="hill")

    with pytest.raises(RuleSetBindsSites, match="1 sites go by hill"):
        remove_rule_set(code="hill", version=version(), by="hana", at=NOW)
    site.delete()
    remove_rule_set(code="hill", version=version(), by="hana", at=NOW)
    assert rule_set_content(code="hill") is None

    first = Change.objects.get(kind="rule_set", action="added")
    assert restore_rule_set(change_id=first.pk, by="hana", at=NOW).is_new


@pytest.mark.django_db
def test_a_switched_stage_is_dated_and_the_old_one_ends_there() -> None:
    save(content())

    switch_stage(
        code="hill", stage={"name": "ban", "max_days_per_week": 0}, on=date(2026, 7, 1), until=None,
        on_top=False, version=version(), by="hana", at=NOW,
    )  # fmt: skip

    old, new = rule_set_content(code="hill").specs  # type: ignore[union-attr]
    assert old == {**STAGE, "until": "2026-07-01"}
    assert new == {"name": "ban", "max_days_per_week": 0, "from": "2026-07-01"}


ON, UNTIL = date(2026, 7, 1), date(2026, 9, 1)


def switched(
    *stages: dict[str, Any], until: date | None = None, on_top: bool = False
) -> list[dict[str, Any]]:
    return switched_stages(stages, {"name": "ban", "max_days_per_week": 0}, on=ON, until=until, on_top=on_top)


def test_a_stage_comes_back_after_the_last_day_of_the_switched_one() -> None:
    first, back, ban = switched(STAGE, until=UNTIL)

    assert first["until"] == "2026-07-01"
    assert (back["name"], back["from"]) == ("two days, from 2026-09-01", "2026-09-01")
    assert (ban["from"], ban["until"]) == ("2026-07-01", "2026-09-01")


def test_stages_that_are_over_or_come_later_are_left_alone() -> None:
    over, later = {**STAGE, "until": "2026-06-01"}, {**STAGE, "name": "late", "from": "2026-10-01"}

    assert switched(over, later)[:2] == [over, later]
    assert switched(over, later, until=UNTIL)[:2] == [over, later]
    assert switched({**STAGE, "from": "2026-08-01"}, until=UNTIL)[0] == {**STAGE, "from": "2026-09-01"}


def test_a_stage_on_top_leaves_the_others_as_they_are_and_takes_a_free_name() -> None:
    ban = {"name": "ban", "max_days_per_week": 0}

    found = switched(STAGE, ban, on_top=True)

    assert found[:2] == [STAGE, ban]
    assert found[2]["name"] == "ban, from 2026-07-01"


def test_the_common_stages_are_stages() -> None:
    file = check_rule_set({"rule_set": "x", "supplier": "", "stages": list(COMMON_STAGES)})

    assert file.problems == []
