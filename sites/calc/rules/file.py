"""Reading one stage of watering rules from the words of its file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from sites.calc.landscape import HEADS, PLANTS
from sites.calc.program.days import WEEKDAYS
from sites.calc.rules.stages import RuleError, Stage, Window

LONGEST_NAME = 80
LONGEST_SOURCE = 300
FIELDS = (
    "name",
    "from",
    "until",
    "address_rule",
    "weekdays",
    "dates",
    "bar_31st",
    "windows",
    "window_day",
    "max_days_per_week",
    "max_minutes_per_station",
    "applies_to",
    "exempt_days_after_planting",
    "source",
    "checked_on",
)


def parse_stage(spec: Mapping[str, object]) -> Stage:
    """The stage that a rule file describes; raises `RuleError` with the field and what was expected.

    Parameters
    ----------
    spec
        One entry of `stages` of the rule file. `from` is inclusive, `until` exclusive.
    """
    unknown = [name for name in spec if name not in FIELDS]
    if unknown:
        raise RuleError(f"{unknown[0]}: expected one of {', '.join(FIELDS)}")
    name = _text(spec.get("name"), LONGEST_NAME, "name")
    if not name:
        raise RuleError("name: expected a name for the stage")
    _text(spec.get("source"), LONGEST_SOURCE, "source")
    applies_to = _mapping(spec.get("applies_to") or {}, "applies_to", ("heads", "plants"))
    _day(spec.get("checked_on"), "checked_on")
    return Stage(
        name=name,
        starts_on=_day(spec.get("from"), "from"),
        ends_on=_day(spec.get("until"), "until"),
        address_rule=_word(spec.get("address_rule"), "none", "address_rule"),
        weekdays=_weekdays(spec.get("weekdays")),
        dates=_word(spec.get("dates"), "any", "dates"),
        bars_31st=_flag(spec.get("bar_31st"), "bar_31st"),
        windows=tuple(_window(text) for text in _list(spec.get("windows"), "windows")),
        window_day=_word(spec.get("window_day"), "opening", "window_day"),
        max_days_per_week=_days_per_week(spec.get("max_days_per_week")),
        max_minutes_per_station=_number(spec.get("max_minutes_per_station"), "max_minutes_per_station"),
        heads=_known(applies_to.get("heads"), HEADS, "applies_to.heads"),
        plants=_known(applies_to.get("plants"), PLANTS, "applies_to.plants"),
        exempt_days_after_planting=int(
            _number(spec.get("exempt_days_after_planting"), "exempt_days_after_planting") or 0
        ),
    )


def stage_problems(spec: Mapping[str, object]) -> list[tuple[str, str]]:
    """All that is wrong with a stage of a rule file: (field, what was expected), each field by itself first.

    Parameters
    ----------
    spec
        One entry of `stages` of the rule file.
    """
    alone = [{"name": "stage", name: value} for name, value in {"name": None, **spec}.items()]
    found = [problem for part in alone if (problem := _problem(part))]
    return found or [problem for problem in [_problem(spec)] if problem]


def _problem(spec: Mapping[str, object]) -> tuple[str, str] | None:
    """Field and complaint of a stage, None where it is right."""
    try:
        parse_stage(spec)
    except RuleError as error:
        where, _, expected = str(error).partition(": ")
        return where, expected.removeprefix("expected ")
    return None


def _text(value: object, longest: int, where: str) -> str:
    """Plain text of at most so many characters, empty where the file has none."""
    if value is None:
        return ""
    if not isinstance(value, str) or len(value) > longest or not value.isprintable():
        raise RuleError(f"{where}: expected at most {longest} characters of plain text")
    return value.strip()


def _known(value: object, words: Sequence[str], where: str) -> tuple[str, ...]:
    """Words of the site book; a misspelt one would bind nothing."""
    found = _list(value, where)
    unknown = [word for word in found if word not in words]
    if unknown:
        raise RuleError(f"{where}: expected some of {', '.join(words)}, found {unknown[0]!r}")
    return tuple(str(word) for word in found)


def _day(value: object, where: str) -> date | None:
    """A day, or None where the file has none."""
    if value in (None, ""):
        return None
    try:
        return date.fromisoformat(value if isinstance(value, str) else "")
    except ValueError:
        raise RuleError(f"{where}: expected a day as 2026-06-01, found {value!r}") from None


def _word(value: object, default: str, where: str) -> str:
    """A word of a closed list; the stage itself refuses others."""
    if value in (None, ""):
        return default
    if not isinstance(value, str):
        raise RuleError(f"{where}: expected a word, found {value!r}")
    return value


def _flag(value: object, where: str) -> bool:
    """A yes or no."""
    if value is None:
        return False
    if not isinstance(value, bool):
        raise RuleError(f"{where}: expected true or false, found {value!r}")
    return value


def _number(value: object, where: str) -> float | None:
    """A number above 0, or None where the file has none."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e6:
        raise RuleError(f"{where}: expected a number of 0 or more, found {value!r}")
    return float(value)


def _days_per_week(value: object) -> int | None:
    """Most watering days in seven, or None."""
    days = _number(value, "max_days_per_week")
    if days is None:
        return None
    if days not in range(8):
        raise RuleError(f"max_days_per_week: expected 0 to 7, found {value!r}")
    return int(days)


def _list(value: object, where: str) -> Sequence[object]:
    """A list, empty where the file has none."""
    if value is None:
        return ()
    if not isinstance(value, list | tuple):
        raise RuleError(f"{where}: expected a list, found {value!r}")
    return value


def _mapping(value: object, where: str, names: Sequence[str]) -> Mapping[str, object]:
    """An object with known names only."""
    if not isinstance(value, Mapping) or any(name not in names for name in value):
        raise RuleError(f"{where}: expected an object with {', '.join(names)}")
    return value


def _weekdays(value: object) -> Mapping[str, tuple[int, ...]]:
    """Permitted weekdays by address group; one list stands for everybody."""
    if value is None or value in ([], (), {}):
        return {}
    if isinstance(value, list | tuple):
        return {"": weekday_numbers(value, "weekdays")}
    if not isinstance(value, Mapping):
        raise RuleError(f"weekdays: expected a list of days or an object by address group, found {value!r}")
    groups: dict[str, tuple[int, ...]] = {}
    for key, names in value.items():
        group = str(key)
        if group not in ("odd", "even") and not group.isdigit():
            raise RuleError(f"weekdays: expected the groups odd, even or last digits, found {group!r}")
        days = weekday_numbers(_list(names, f"weekdays.{group}"), f"weekdays.{group}")
        groups.update(dict.fromkeys([group] if not group.isdigit() else list(group), days))
    if any(group.isdigit() for group in groups) and not all(group.isdigit() for group in groups):
        raise RuleError("weekdays: expected groups either by odd and even or by last digit, not both")
    return groups


def _window(text: object) -> Window:
    """Hours such as 20:00-10:00."""
    opens, dash, closes = str(text).partition("-")
    if not dash:
        raise RuleError(f"windows: expected hours as 20:00-10:00, found {text!r}")
    opening = _clock(opens, text)
    closing = _clock(closes, text)
    if opening == closing:
        raise RuleError(f"windows: expected none for the whole day; {text!r} opens and closes at once")
    if opening == 24 * 60:
        raise RuleError(f"windows: expected 00:00 on the next day; {text!r} opens at the end of a day")
    return Window(opening, closing)


def _clock(text: str, whole: object) -> int:
    """Minutes after midnight of a time of day; 24:00 is the end of the day."""
    hour, colon, minute = text.strip().partition(":")
    if not (colon and hour.isdigit() and minute.isdigit() and len(minute) == 2):
        raise RuleError(f"windows: expected hours as 20:00-10:00, found {whole!r}")
    found = int(hour) * 60 + int(minute)
    if int(minute) > 59 or found > 24 * 60:
        raise RuleError(f"windows: expected 00:00 to 24:00; {text.strip()!r} is no time of day")
    return found


def weekday_numbers(names: Sequence[object], where: str) -> tuple[int, ...]:
    """Numbers of weekdays (Monday 0) in rising order.

    Parameters
    ----------
    names
        Names such as `mon`.
    where
        Name of the field, for the message of a refusal.
    """
    unknown = [name for name in names if name not in WEEKDAYS]
    if unknown:
        raise RuleError(f"{where}: expected days such as mon, found {unknown[0]!r}")
    return tuple(sorted({WEEKDAYS.index(str(name)) for name in names}))
