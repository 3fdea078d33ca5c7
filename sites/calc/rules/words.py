"""Watering rules in plain words: what a stage says, why a day is barred, what an edit changed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date

import numpy as np

from sites.calc.program.days import WEEKDAYS, DayPattern, runs_on
from sites.calc.rules.hours import Span
from sites.calc.rules.stages import Stage, Watered, weekdays_of

Clock = Callable[[int], str]
_GROUP_WORDS = {"odd": "odd numbers", "even": "even numbers"}


def clock_24(minute: int) -> str:
    """A time of day as 7:05; 24:00 is the end of the day.

    Parameters
    ----------
    minute
        Clock time [min after midnight].
    """
    return f"{minute // 60}:{minute % 60:02d}"


def spans_words(spans: Sequence[Span], clock: Clock = clock_24) -> str:
    """Hours in words, such as `0:00 to 8:00 and 20:00 to 24:00`.

    Parameters
    ----------
    spans
        Hours [min after midnight].
    clock
        How a time of day is written.
    """
    return " and ".join(f"{clock(opens)} to {clock(closes)}" for opens, closes in spans)


def weekday_words(days: Sequence[int]) -> str:
    """Days of the week as `Wed, Sat`.

    Parameters
    ----------
    days
        Numbers, Monday 0.
    """
    return ", ".join(WEEKDAYS[day].capitalize() for day in days) or "no day"


def stage_words(stage: Stage, clock: Clock = clock_24) -> tuple[str, ...]:
    """What a stage says, one short phrase for each thing.

    Parameters
    ----------
    stage
        The stage.
    clock
        How a time of day is written.
    """
    if stage.is_ban:
        return (*_whom(stage), "no watering at all")
    words = [*_whom(stage), *_days(stage)]
    for window in stage.windows:
        hours = f"{clock(window.opens_min)} to {clock(window.closes_min)}"
        if window.crosses_midnight:
            is_opening = stage.window_day == "opening"
            whose = "the day on which it opens" if is_opening else "its own day on each side"
            hours += f" (the night counts for {whose})"
        words.append(hours)
    if not stage.windows:
        words.append("all hours")
    if stage.max_days_per_week is not None:
        words.append(f"at most {stage.max_days_per_week} days in any seven")
    if stage.max_minutes_per_station is not None:
        words.append(f"at most {stage.max_minutes_per_station:g} min a station and day")
    if stage.exempt_days_after_planting:
        words.append(f"new planting exempt for {stage.exempt_days_after_planting} days")
    return tuple(words)


def _whom(stage: Stage) -> list[str]:
    """Whom a stage binds."""
    words = [f"{stage.address_rule} house numbers only"] if stage.address_rule in ("odd", "even") else []
    kinds = [*stage.heads, *stage.plants]
    return words + (["for " + ", ".join(kind.replace("_", " ") for kind in kinds)] if kinds else [])


def _days(stage: Stage) -> list[str]:
    """On which days a stage lets water run."""
    words = []
    for group, days in _grouped(stage.weekdays).items():
        words.append(f"{group}: {weekday_words(days)}" if group else weekday_words(days))
    if stage.dates != "any":
        words.append(f"{stage.dates} dates")
    if stage.bars_31st:
        words.append("never on the 31st")
    return words or ["every day"]


def _grouped(weekdays: Mapping[str, tuple[int, ...]]) -> dict[str, tuple[int, ...]]:
    """Address groups in words; digits of the same days together."""
    if "" in weekdays:
        return {"": weekdays[""]}
    by_days: dict[tuple[int, ...], list[str]] = {}
    for group, days in weekdays.items():
        by_days.setdefault(days, []).append(group)
    found = {}
    for days, groups in by_days.items():
        digits = [group for group in groups if group.isdigit()]
        named = [_GROUP_WORDS[group] for group in groups if group in _GROUP_WORDS]
        found[" and ".join([*named, *(["last digit " + ", ".join(sorted(digits))] if digits else [])])] = days
    return found


def barred_words(stage: Stage, watered: Watered, day: date) -> str:
    """Why a stage bars a day.

    Parameters
    ----------
    stage
        A stage that applies to the zone and bars the day.
    watered
        What is watered.
    day
        The day.
    """
    if stage.is_ban:
        return "no watering at all"
    own = weekdays_of(stage, watered)
    if own is not None and day.weekday() not in own:
        whose = "" if "" in stage.weekdays else _whose(stage, watered)
        return f"{WEEKDAYS[day.weekday()].capitalize()} is not among the days{whose} ({weekday_words(own)})"
    dates = np.array([day], dtype="datetime64[D]")
    if stage.dates != "any" and not runs_on(DayPattern(stage.dates), dates)[0]:
        return f"{day.day} {day:%b} is no {stage.dates} date"
    return "the 31st is barred"


def _whose(stage: Stage, watered: Watered) -> str:
    """The address group of a zone."""
    number = watered.house_number or 0
    if any(group.isdigit() for group in stage.weekdays):
        return f" of last digit {number % 10}"
    return f" of {'odd' if number % 2 else 'even'} numbers"


def rule_set_changes(before: Mapping[str, object] | None, after: Mapping[str, object] | None) -> list[str]:
    """What changed between two versions of a rule set, a short sentence for each thing.

    Parameters
    ----------
    before, after
        `{"supplier", "stages"}` as the history keeps them; None: there was none, or is none any more.
    """
    if after is None:
        return ["rule set removed"]
    if before is None:
        count = len(_stages(after))
        return [f"rule set added with {count} stage{'' if count == 1 else 's'}"]
    words = []
    if before.get("supplier") != after.get("supplier"):
        words.append(f"supplier {before.get('supplier') or 'none'} → {after.get('supplier') or 'none'}")
    old, new = _stages(before), _stages(after)
    words += [f"stage “{name}” removed" for name in old if name not in new]
    for name, spec in new.items():
        if name not in old:
            words.append(f"stage “{name}” added")
            continue
        fields = sorted({*spec, *old[name]})
        words += [
            f"“{name}”, {field}: {_value(old[name].get(field))} → {_value(spec.get(field))}"
            for field in fields
            if _value(old[name].get(field)) != _value(spec.get(field))
        ]
    return words or ["order of the stages"]


def _stages(version: Mapping[str, object]) -> dict[str, Mapping[str, object]]:
    """Stages of a version by name."""
    stages = version.get("stages")
    return {str(stage.get("name")): stage for stage in stages} if isinstance(stages, list) else {}


def _value(value: object) -> str:
    """A value of a rule file in short words."""
    if value in (None, "", [], {}) or value is False:
        return "none"
    if isinstance(value, Mapping):
        return "; ".join(f"{key} {_value(one)}" for key, one in value.items()) or "none"
    if isinstance(value, list | tuple):
        return ", ".join(str(one) for one in value)
    return "yes" if value is True else str(value)
