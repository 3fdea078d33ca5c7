"""The rules file: watering rules as JSON."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from sites.calc.rule_file import parse_stage
from sites.calc.rules import RuleError
from weather.importing.rows import RowProblem


@dataclass(frozen=True, slots=True)
class StageRow:
    """One stage, checked; `spec` as the file has it."""

    name: str
    starts_on: date | None
    ends_on: date | None
    spec: dict[str, object]
    source: str
    checked_on: date | None


@dataclass(slots=True)
class RulesFile:
    """Rule sets of a file: (code, supplier) with stages; problems count sets and stages from 1."""

    file: str
    sets: list[tuple[str, str, list[StageRow]]] = field(default_factory=list)
    problems: list[RowProblem] = field(default_factory=list)

    def refuse(self, row: int, where: str, value: object, expected: str) -> None:
        """Note a problem; `row` is the number of the rule set in the file."""
        self.problems.append(RowProblem(self.file, row, where, str(value), expected))


def read_rules(path: Path) -> RulesFile:
    """The rule sets of a JSON file with what is wrong in it."""
    result = RulesFile(path.name)
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"), parse_constant=_refuse_constant)
    except FileNotFoundError:
        result.refuse(0, "", path, "a file that exists")
        return result
    except (OSError, ValueError, RecursionError) as error:  # broken JSON and text are ValueErrors
        result.refuse(0, "", str(error)[:80], "JSON in UTF-8")
        return result
    sets = content.get("rule_sets") if isinstance(content, dict) else None
    if not isinstance(sets, list):
        result.refuse(0, "rule_sets", type(content).__name__, "an object with a list rule_sets")
        return result
    seen: set[str] = set()
    for number, one in enumerate(sets, start=1):
        _read_set(result, number, one, seen)
    return result


def _refuse_constant(word: str) -> object:
    """No NaN and no Infinity: they are not JSON."""
    raise ValueError(f"{word} is not JSON")


def _read_set(result: RulesFile, number: int, one: object, seen: set[str]) -> None:
    """One rule set into the result."""
    if not isinstance(one, dict) or not isinstance(one.get("stages"), list):
        result.refuse(
            number, "rule_sets", str(one)[:60], "an object with rule_set, supplier and a list stages"
        )
        return
    code, supplier = one.get("rule_set"), one.get("supplier") or ""
    if not isinstance(code, str) or not 0 < len(code) <= 60 or code in seen:
        result.refuse(number, "rule_set", code, "a code of at most 60 letters, each once")
        return
    if not isinstance(supplier, str) or len(supplier) > 60:
        result.refuse(number, "supplier", supplier, "a name of at most 60 letters")
        return
    seen.add(code)
    stages: list[StageRow] = []
    for at, spec in enumerate(one["stages"], start=1):
        stage = _stage(result, number, at, spec)
        if stage is not None and stage.name in {other.name for other in stages}:
            result.refuse(number, f"stages[{at}].name", stage.name, "each stage name once a set")
        elif stage is not None:
            stages.append(stage)
    result.sets.append((code, supplier, stages))


def _stage(result: RulesFile, number: int, at: int, spec: object) -> StageRow | None:
    """One stage, or None with its problem noted."""
    if not isinstance(spec, dict):
        result.refuse(number, f"stages[{at}]", str(spec)[:60], "an object")
        return None
    try:
        stage = parse_stage(spec)
        checked = spec.get("checked_on")
        checked_on = date.fromisoformat(checked) if isinstance(checked, str) else None
    except RuleError as error:
        result.refuse(number, f"stages[{at}]", spec.get("name", ""), str(error))
        return None
    except ValueError:
        result.refuse(number, f"stages[{at}].checked_on", spec.get("checked_on"), "a date as 2026-06-14")
        return None
    return StageRow(
        name=str(spec.get("name", ""))[:80],
        starts_on=stage.starts_on,
        ends_on=stage.ends_on,
        spec=spec,
        source=str(spec.get("source") or "")[:300],
        checked_on=checked_on,
    )
