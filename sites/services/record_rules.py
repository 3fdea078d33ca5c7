"""Imports of watering rules."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from django.db import transaction

from sites.importing.rules import RulesFile, StageRow, read_rules
from sites.models import RuleSet, RuleStage
from sites.selectors.rules import stored_rule_sets
from sites.services.history import ChangeNote, record_changes
from sites.services.programs import reopen_outside_programs
from weather.importing.rows import ImportReport


def import_rules(
    *, path: Path, by: str, now: datetime, dry_run: bool = False, keep_good: bool = False
) -> ImportReport:
    """Bring a rules file in: each rule set of the file replaces its stages; other sets stay.

    Accepted programs that break the rules as they are then are to be decided again, unless a reason is
    written; the report's warnings count them.

    Parameters
    ----------
    path
        The file.
    by, now
        Who imports, and when: kept in the history.
    dry_run, keep_good
        Report only; write the rule sets without a problem.
    """
    file = read_rules(path)
    sets = file.sets
    stored = stored_rule_sets(codes=[code for code, _, _ in sets])
    new = [one for one in sets if one[0] not in stored]
    changed = [one for one in sets if one[0] in stored and stored[one[0]] != _plain(one[1], one[2])]
    write, reopened = not dry_run and (not file.problems or keep_good), 0
    if write:
        with transaction.atomic():
            for code, supplier, stages in (*new, *changed):
                write_rule_set(code=code, supplier=supplier, stages=stages)
            notes = [
                ChangeNote("rule_set", code, "", stored.get(code), _plain(supplier, stages))
                for code, supplier, stages in (*new, *changed)
            ]
            record_changes(notes=notes, by=by, at=now)
            for code, _, _ in (*new, *changed):
                reopened += reopen_outside_programs(rule_set=code, by=by, at=now)
    return _report(
        file, len(new), len(changed), len(sets) - len(new) - len(changed), written=write, reopened=reopened
    )


def _report(
    file: RulesFile, new: int, changed: int, unchanged: int, *, written: bool, reopened: int
) -> ImportReport:
    """What the import did, counted in rule sets."""
    fit = "program no longer fits" if reopened == 1 else "programs no longer fit"
    words = f"{reopened} accepted {fit} the watering rules:"
    warnings = (f"{words} to be decided again in the weekly round.",) if reopened else ()
    return ImportReport(file.file, new, changed, unchanged, tuple(file.problems), warnings, written=written)


def write_rule_set(*, code: str, supplier: str, stages: list[StageRow]) -> None:
    """Replace one rule set; within a transaction of the caller's."""
    rule_set, _ = RuleSet.objects.update_or_create(code=code, defaults={"supplier": supplier})
    rule_set.stages.all().delete()
    RuleStage.objects.bulk_create(
        RuleStage(
            rule_set=rule_set,
            name=stage.name,
            starts_on=stage.starts_on,
            ends_on=stage.ends_on,
            spec=stage.spec,
            source=stage.source,
            checked_on=stage.checked_on,
        )
        for stage in stages
    )


def _plain(supplier: str, stages: list[StageRow]) -> dict[str, object]:
    """A rule set as the history keeps it."""
    return {"supplier": supplier, "stages": [stage.spec for stage in stages]}
