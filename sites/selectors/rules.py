"""Rule sets as they stand, their versions, and what a site waters as far as rules ask."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from sites.calc.rules.file import parse_stage
from sites.calc.rules.stages import Stage, Watered, house_number
from sites.calc.rules.words import rule_set_changes
from sites.models import Change, RuleSet, Site, Zone

HISTORY_KIND = "rule_set"


@dataclass(frozen=True, slots=True)
class RuleSetContent:
    """A rule set as its file would tell it, and the mark of this version."""

    code: str
    supplier: str
    specs: tuple[dict[str, object], ...]
    version: str

    @property
    def stages(self) -> tuple[Stage, ...]:
        """The stages, read."""
        return tuple(parse_stage(spec) for spec in self.specs)

    @property
    def plain(self) -> dict[str, object]:
        """The rule set in the words of the rules file."""
        return {"rule_set": self.code, "supplier": self.supplier, "stages": list(self.specs)}


@dataclass(frozen=True, slots=True)
class RuleVersion:
    """One entry of a rule set's history: what changed, and whether its outcome can be brought back."""

    change_id: int
    at: datetime
    by: str
    reason: str
    changes: tuple[str, ...]
    before: str  # JSON text, empty where there was none
    after: str
    is_current: bool
    can_restore: bool


def stored_rule_sets(*, codes: Collection[str]) -> dict[str, dict[str, object]]:
    """Rule sets of the database as the history keeps them."""
    sets = RuleSet.objects.filter(code__in=codes).prefetch_related("stages")
    return {
        one.code: {
            "supplier": one.supplier,
            "stages": [stage.spec for stage in sorted(one.stages.all(), key=lambda stage: stage.pk)],
        }
        for one in sets
    }


def rule_set_content(*, code: str) -> RuleSetContent | None:
    """A rule set, None where the book has none of that code."""
    stored = stored_rule_sets(codes=[code]).get(code)
    if stored is None:
        return None
    stages = stored["stages"]
    specs = tuple(stages) if isinstance(stages, list) else ()
    return RuleSetContent(code, str(stored["supplier"]), specs, version_of(stored))


def version_of(stored: Mapping[str, object] | None) -> str:
    """Mark of a version of a rule set; empty where there is none."""
    if stored is None:
        return ""
    kept = {name: stored.get(name) for name in ("supplier", "stages")}
    text = json.dumps(kept, sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def rule_versions(*, code: str, most: int = 50) -> tuple[RuleVersion, ...]:
    """History of a rule set, the newest first."""
    current = version_of(stored_rule_sets(codes=[code]).get(code))
    found = []
    for change in Change.objects.filter(kind=HISTORY_KIND, key=code)[:most]:
        mark = version_of(change.after)
        found.append(
            RuleVersion(
                change_id=change.pk,
                at=change.at,
                by=change.by,
                reason=change.reason,
                changes=tuple(rule_set_changes(change.before, change.after)),
                before=_text(change.before),
                after=_text(change.after),
                is_current=mark == current,
                can_restore=change.after is not None and mark != current,
            )
        )
    return tuple(found)


def _text(version: Mapping[str, object] | None) -> str:
    """A version as JSON to read."""
    return json.dumps(version, indent=1, ensure_ascii=False) if version else ""


def watered_zones(*, site: Site) -> list[tuple[str, Watered]]:
    """(station and name, what is watered) of every zone of a site; one without zones waters anything."""
    number = house_number(site.address)
    rows = Zone.objects.filter(controller__site=site).order_by("controller__code", "station")
    zones = [
        (f"{code}/{station}{f' {name}' if name else ''}", Watered(number, head, plant, planted_on))
        for code, station, name, head, plant, planted_on in rows.values_list(
            "controller__code", "station", "name", "head", "plant", "planted_on"
        )
    ]
    return zones or [("the whole site", Watered(number))]
