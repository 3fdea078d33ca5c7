"""Watering rules edited by hand: saved, removed, brought back, a stage switched; each kept in the history."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from sites.calc.rules.switch import switched_stages
from sites.importing.rules import check_rule_set
from sites.models import Change, RuleSet, Site
from sites.selectors.rules import HISTORY_KIND, stored_rule_sets, version_of
from sites.services.history import ChangeNote, record_changes
from sites.services.record_rules import write_rule_set
from weather.importing.rows import RowProblem


class RuleSetInvalid(ValueError):
    """The content is no rule set; `problems` name each field."""

    def __init__(self, problems: Sequence[RowProblem]) -> None:
        super().__init__("; ".join(f"{problem.column}: expected {problem.expected}" for problem in problems))
        self.problems = tuple(problems)


class RulesChangedMeanwhile(RuntimeError):
    """Somebody else saved the rule set since it was opened."""


class RuleSetBindsSites(RuntimeError):
    """Sites go by the rule set; it cannot be removed."""


class NothingToRestore(LookupError):
    """No such version of a rule set."""


@dataclass(frozen=True, slots=True)
class RuleSetSaved:
    """A rule set after a deed; `changed` is False where it stood like this already."""

    code: str
    is_new: bool
    changed: bool
    version: str


@transaction.atomic
def save_rule_set(*, content: object, version: str, by: str, at: datetime, reason: str = "") -> RuleSetSaved:
    """Store a rule set as written, whole: its stages replace the stored ones.

    Parameters
    ----------
    content
        `{"rule_set", "supplier", "stages"}` in the words of the rules file.
    version
        Mark of the version that was edited; empty for a new set.
    by, at
        Who saves, and when.
    reason
        Why, in the person's words.
    """
    file = check_rule_set(content)
    if file.problems or not file.sets:
        raise RuleSetInvalid(file.problems)
    code, supplier, stages = file.sets[0]
    before = stored_rule_sets(codes=[code]).get(code)
    if version_of(before) != version:
        if not version:
            raise RulesChangedMeanwhile(f"There is a rule set {code} already.")
        raise RulesChangedMeanwhile("Somebody else changed these rules since you opened them.")
    after: dict[str, object] = {"supplier": supplier, "stages": [stage.spec for stage in stages]}
    mark = version_of(after)
    if mark == version:
        return RuleSetSaved(code, is_new=False, changed=False, version=mark)
    write_rule_set(code=code, supplier=supplier, stages=stages)
    _keep(code, before, after, by, at, reason)
    return RuleSetSaved(code, is_new=before is None, changed=True, version=mark)


@transaction.atomic
def remove_rule_set(*, code: str, version: str, by: str, at: datetime) -> None:
    """Take a rule set out that binds no site; its history stays, and with it the way back."""
    before = stored_rule_sets(codes=[code]).get(code)
    if before is None or version_of(before) != version:
        raise RulesChangedMeanwhile("Somebody else changed these rules since you opened them.")
    bound = Site.objects.filter(rule_set=code).count()
    if bound:
        raise RuleSetBindsSites(f"{bound} sites go by {code}; give them other rules first.")
    RuleSet.objects.filter(code=code).delete()
    _keep(code, before, None, by, at, "")


@transaction.atomic
def restore_rule_set(*, change_id: int, by: str, at: datetime) -> RuleSetSaved:
    """Bring back the version that a change led to."""
    change = Change.objects.filter(pk=change_id, kind=HISTORY_KIND).first()
    if change is None or not isinstance(change.after, dict):
        raise NothingToRestore("This entry of the history holds no version to bring back.")
    current = version_of(stored_rule_sets(codes=[change.key]).get(change.key))
    content = {"rule_set": change.key, **change.after}
    return save_rule_set(
        content=content, version=current, by=by, at=at, reason=f"version of {change.at:%Y-%m-%d %H:%M} UTC"
    )


@transaction.atomic
def switch_stage(
    *,
    code: str,
    stage: dict[str, object],
    on: date,
    until: date | None,
    on_top: bool,
    version: str,
    by: str,
    at: datetime,
) -> RuleSetSaved:
    """Put a dated stage into a rule set, in the place of those in force or on top of them.

    Parameters
    ----------
    code
        The rule set.
    stage
        The stage in the words of the rules file; its own dates do not matter.
    on, until
        First day, and the day after the last; None: no end known.
    on_top
        Whether the stages in force stay in force beside it.
    version
        Mark of the version that was looked at.
    by, at
        Who switches, and when.
    """
    stored = stored_rule_sets(codes=[code]).get(code)
    if stored is None:
        raise RulesChangedMeanwhile("This rule set is not there any more.")
    old = stored["stages"]
    stages = switched_stages(old if isinstance(old, list) else [], stage, on=on, until=until, on_top=on_top)
    content = {"rule_set": code, "supplier": stored["supplier"], "stages": stages}
    return save_rule_set(content=content, version=version, by=by, at=at, reason="stage switched")


def _keep(
    code: str,
    before: dict[str, object] | None,
    after: dict[str, object] | None,
    by: str,
    at: datetime,
    reason: str,
) -> None:
    """One entry of the history, with the whole set before and after."""
    record_changes(notes=[ChangeNote(HISTORY_KIND, code, "", before, after, reason)], by=by, at=at)
