"""The rules file: watering rules as JSON."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from sites.calc.rules.file import parse_stage, stage_problems
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
    """Rule sets without a problem (code, supplier, stages); problems count sets and stages from 1."""

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


def check_rule_set(content: object) -> RulesFile:
    """One rule set that somebody wrote by hand, with what is wrong in it; `content` as in a file."""
    result = RulesFile("rules")
    _read_set(result, 1, content, set())
    return result


def parse_rule_set(text: str) -> tuple[object, str]:
    """The content of one rule set's JSON text, and what is wrong with the text (empty: nothing)."""
    try:
        return json.loads(text, parse_constant=_refuse_constant), ""
    except json.JSONDecodeError as error:
        return None, f"line {error.lineno}, column {error.colno}: {error.msg}"
    except (ValueError, RecursionError) as error:
        return None, str(error)[:120]


def _read_set(result: RulesFile, number: int, one: object, seen: set[str]) -> None:
    """One rule set into the result, if nothing is wrong with it."""
    before = len(result.problems)
    if not isinstance(one, dict) or not isinstance(one.get("stages"), list):
        result.refuse(
            number, "rule_sets", str(one)[:60], "an object with rule_set, supplier and a list stages"
        )
        return
    code, supplier = one.get("rule_set"), one.get("supplier") or ""
    unknown = [str(name) for name in one if name not in ("rule_set", "supplier", "stages")]
    if unknown:
        result.refuse(number, unknown[0], "", "only rule_set, supplier and stages")
        return
    if not _is_code(code) or code in seen:
        result.refuse(number, "rule_set", code, "a code of at most 60 letters, each once")
        return
    if not isinstance(supplier, str) or len(supplier) > 60 or not supplier.isprintable():
        result.refuse(number, "supplier", supplier, "a name of at most 60 letters")
        return
    seen.add(str(code))
    stages: list[StageRow] = []
    for at, spec in enumerate(one["stages"], start=1):
        stage = _stage(result, number, at, spec)
        if stage is not None and stage.name in {other.name for other in stages}:
            result.refuse(number, f"stages[{at}].name", stage.name, "each stage name once a set")
        elif stage is not None:
            stages.append(stage)
    # A set with a stage left out would permit what its supplier forbids.
    if len(result.problems) == before:
        result.sets.append((str(code), supplier.strip(), stages))


def _is_code(code: object) -> bool:
    """Whether a text can name a rule set in files and addresses."""
    return (
        isinstance(code, str)
        and 0 < len(code) <= 60
        and code.isprintable()
        and code == code.strip()
        and not set(code) & set("/\\?#%")
    )


def _stage(result: RulesFile, number: int, at: int, spec: object) -> StageRow | None:
    """One stage, or None with its problem noted."""
    if not isinstance(spec, dict):
        result.refuse(number, f"stages[{at}]", str(spec)[:60], "an object")
        return None
    problems = stage_problems(spec)
    for where, expected in problems:
        result.refuse(number, f"stages[{at}].{where}", _short(spec, where), expected)
    if problems:
        return None
    stage = parse_stage(spec)
    checked = spec.get("checked_on")
    return StageRow(
        name=stage.name,
        starts_on=stage.starts_on,
        ends_on=stage.ends_on,
        spec=spec,
        source=str(spec.get("source") or ""),
        checked_on=date.fromisoformat(str(checked)) if checked else None,
    )


def _short(spec: dict[str, object], where: str) -> str:
    """The value of a field for a problem's line."""
    value = spec.get(where.partition(".")[0], "")
    return "" if value is None else str(value)[:60]
