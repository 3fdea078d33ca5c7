"""The form of a rule set: stages of the rules file as fields of a page, and back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from django.http import QueryDict

from sites.calc.landscape import HEADS, PLANTS
from sites.calc.program.days import WEEKDAYS
from sites.calc.rules.file import parse_stage
from sites.calc.rules.stages import RuleError
from weather.importing.rows import RowProblem

MOST_STAGES: Final = 24
WINDOWS: Final = 4
GROUPS: Final = {"all": ("all",), "parity": ("odd", "even"), "digit": tuple("0123456789")}
_TEXTS: Final = (
    "name", "from", "until", "address_rule", "dates", "window_day", "max_days_per_week",
    "max_minutes_per_station", "exempt_days_after_planting", "source", "checked_on",
)  # fmt: skip
_NUMBERS: Final = ("max_days_per_week", "max_minutes_per_station", "exempt_days_after_planting")
_DEFAULTS: Final = {"address_rule": "none", "dates": "any", "window_day": "opening"}


@dataclass(frozen=True, slots=True)
class DayRow:
    """One address group's days: (day, ticked)."""

    group: str
    by: str
    days: tuple[tuple[str, bool], ...]


@dataclass(slots=True)
class StageFields:
    """One stage as fields: values by name, errors by name."""

    at: int
    values: dict[str, str] = field(default_factory=dict)
    by: str = "all"
    days: dict[str, tuple[str, ...]] = field(default_factory=dict)
    windows: list[tuple[str, str]] = field(default_factory=list)
    heads: tuple[str, ...] = ()
    plants: tuple[str, ...] = ()
    bar_31st: bool = False
    errors: dict[str, str] = field(default_factory=dict)

    @property
    def day_rows(self) -> list[DayRow]:
        """Weekdays of every address group, ticked or not."""
        return [
            DayRow(group, by, tuple((day, day in self.days.get(group, ())) for day in WEEKDAYS))
            for by, groups in GROUPS.items()
            for group in groups
        ]

    @property
    def window_rows(self) -> list[tuple[int, str, str]]:
        """Hours with room for more."""
        rows = [*self.windows, *[("", "")] * WINDOWS][: max(WINDOWS, len(self.windows))]
        return [(number, opens, closes) for number, (opens, closes) in enumerate(rows)]

    @property
    def head_choices(self) -> list[tuple[str, str, bool]]:
        """Heads, ticked or not."""
        return [(head, head.replace("_", " "), head in self.heads) for head in HEADS]

    @property
    def plant_choices(self) -> list[tuple[str, str, bool]]:
        """Plants, ticked or not."""
        return [(plant, plant.replace("_", " "), plant in self.plants) for plant in PLANTS]


def fields_of(specs: Sequence[Mapping[str, object]]) -> list[StageFields]:
    """Stages of the rules file as fields."""
    return [_fields(at, spec) for at, spec in enumerate(specs)]


def _fields(at: int, spec: Mapping[str, object]) -> StageFields:
    """One stage as fields."""
    applies = spec.get("applies_to")
    applies = applies if isinstance(applies, Mapping) else {}
    by, days = _days(spec.get("weekdays"))
    windows = spec.get("windows")
    return StageFields(
        at=at,
        values={name: _text(spec.get(name)) or _DEFAULTS.get(name, "") for name in _TEXTS},
        by=by,
        days=days,
        windows=[
            (opens.strip(), closes.strip())
            for opens, _, closes in (str(one).partition("-") for one in _sequence(windows))
        ],
        heads=tuple(str(one) for one in _sequence(applies.get("heads"))),
        plants=tuple(str(one) for one in _sequence(applies.get("plants"))),
        bar_31st=spec.get("bar_31st") is True,
    )


def _days(weekdays: object) -> tuple[str, dict[str, tuple[str, ...]]]:
    """By which groups weekdays go, and the days of each."""
    if not isinstance(weekdays, Mapping):
        return "all", {"all": tuple(str(day) for day in _sequence(weekdays))}
    found: dict[str, tuple[str, ...]] = {}
    for key, days in weekdays.items():
        for group in list(key) if str(key).isdigit() else [str(key)]:
            found[group] = tuple(str(day) for day in _sequence(days))
    return ("digit" if any(group.isdigit() for group in found) else "parity"), found


def _sequence(value: object) -> Sequence[object]:
    """A list, empty for anything else."""
    return value if isinstance(value, list | tuple) else ()


def _text(value: object) -> str:
    """A value as a field shows it."""
    return "" if value is None else str(value)


def read_form(post: QueryDict, stored: Sequence[Mapping[str, object]]) -> dict[str, object]:
    """The rule set that a form describes, in the words of the rules file.

    A stage that says what the stored one says keeps its very words, so that saving changes nothing.
    """
    count = post.get("count", "0")
    stages = []
    for at in range(min(int(count), MOST_STAGES) if count.isascii() and count.isdigit() else 0):
        if f"s{at}-out" in post:
            continue
        spec = _spec(post, f"s{at}-")
        if spec is not None:
            old = stored[at] if at < len(stored) else None
            stages.append(dict(old) if old is not None and _same(spec, old) else spec)
    return {
        "rule_set": post.get("rule_set", "").strip(),
        "supplier": post.get("supplier", "").strip(),
        "stages": stages,
    }


def _spec(post: QueryDict, prefix: str) -> dict[str, object] | None:
    """One stage of the form; None where nothing was filled in."""
    spec: dict[str, object] = {}
    for name in _TEXTS:
        text = post.get(prefix + name, "").strip()
        if text and text != _DEFAULTS.get(name):
            spec[name] = _number(text) if name in _NUMBERS else text
    windows = [
        f"{opens}-{closes}"
        for number in range(MOST_STAGES)
        if (opens := post.get(f"{prefix}opens{number}", "").strip())
        + (closes := post.get(f"{prefix}closes{number}", "").strip())
    ]
    applies = {name: ticked for name in ("heads", "plants") if (ticked := post.getlist(prefix + name))}
    by = post.get(prefix + "by", "all")
    days = {group: post.getlist(f"{prefix}w-{group}") for group in GROUPS.get(by, ())}
    if by == "all" and days.get("all"):
        spec["weekdays"] = days["all"]
    elif by != "all" and any(days.values()):
        spec["weekdays"] = _grouped(days)
    if windows:
        spec["windows"] = windows
    if applies:
        spec["applies_to"] = applies
    if f"{prefix}bar_31st" in post:
        spec["bar_31st"] = True
    return spec or None


def _grouped(days: Mapping[str, list[str]]) -> dict[str, list[str]]:
    """Days by group; digits of the same days together, digits without a day left out."""
    if "odd" in days:
        return dict(days)
    together: dict[tuple[str, ...], str] = {}
    for digit, ticked in days.items():
        if ticked:
            together[tuple(ticked)] = together.get(tuple(ticked), "") + digit
    return {digits: list(ticked) for ticked, digits in together.items()}


def _number(text: str) -> object:
    """A number of a field, or its text for the check to refuse."""
    try:
        return int(text)
    except ValueError:
        pass
    try:
        return float(text)
    except ValueError:
        return text


def _same(spec: Mapping[str, object], old: Mapping[str, object]) -> bool:
    """Whether two specs say the same."""
    try:
        equal = parse_stage(spec) == parse_stage(old)
    except RuleError:
        return False
    return equal and all((spec.get(name) or "") == (old.get(name) or "") for name in ("source", "checked_on"))


def place_errors(stages: Sequence[StageFields], problems: Sequence[RowProblem]) -> list[str]:
    """Put each problem at its field; sentences for all of them, for the head of the page."""
    sentences = []
    for problem in problems:
        where, _, name = problem.column.partition("].")
        number = where.removeprefix("stages[")
        if where.startswith("stages[") and number.isdigit() and 0 < int(number) <= len(stages):
            stage = stages[int(number) - 1]
            stage.errors.setdefault(name.partition(".")[0], problem.expected)
            title = stage.values.get("name") or f"stage {number}"
            sentences.append(f"“{title}”, {name}: expected {problem.expected}.")
        else:
            sentences.append(f"{problem.column or 'rules'}: expected {problem.expected}.")
    return sentences
