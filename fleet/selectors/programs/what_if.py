"""What if one thing were otherwise: a controller's best program with and without the change; reads only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from fleet.calc.plan.workdays import monday_of
from fleet.selectors.programs.what_if_options import (
    COMMON_STAGES,
    Option,
    at_once_options,
    governing_options,
    head_options,
    is_governed,
    may_share,
    stage_options,
    threshold_options,
)
from sites.calc import landscape, soil
from sites.calc.program.sheet import SheetLetter, sheet_letters
from sites.calc.program.two_at_once import two_at_once
from sites.calc.rules.stages import Stage, Window
from sites.calc.search.garden import Answer, Figures, Garden, answer_lines, best_answer, figures
from sites.calc.search.way import Way
from sites.calc.search.ways import ways_out
from sites.models import Controller
from sites.models.choices import Head
from sites.selectors.round_garden import GardenBook, garden_book, trial_of_set


@dataclass(frozen=True, slots=True)
class Column:
    """One program of the comparison."""

    word: str
    figures: Figures | None
    note: str


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The page. `problems` are fields that could not be read; they count as unchanged."""

    controller: Controller
    columns: tuple[Column, ...]
    letters: tuple[SheetLetter, ...]
    is_changed: bool
    changes: tuple[str, ...]
    problems: tuple[str, ...]
    thresholds: tuple[Option, ...]
    governing: tuple[Option, ...]
    heads: tuple[tuple[int, str, tuple[Option, ...]], ...]
    stages: tuple[Option, ...]
    opens: str
    closes: str
    at_once: tuple[Option, ...]
    ways: tuple[Way, ...]
    short_history: bool


def what_if(
    *, controller: Controller, today: date, asked: Mapping[str, str], with_ways: bool
) -> WhatIf | None:
    """A controller's programs as set, best, and best with what was asked; None without zones or weather.

    Parameters
    ----------
    controller
        Which.
    today
        The company's today.
    asked
        Fields of the form.
    with_ways
        Whether the ways out are wanted; they take a second.
    """
    book = garden_book(controller_id=controller.pk, week=monday_of(today), today=today)
    if book is None:
        return None
    best = best_answer(book.garden)
    changed, changes, problems = _changed(book, asked)
    other = best_answer(changed) if changes else best
    governing = int(changed.zones.station[changed.zones.is_governing][0]) if is_governed(changed) else 0
    return WhatIf(
        controller=controller,
        columns=(_as_set(book), _column("Best as things stand", best), _column("What if", other)),
        letters=sheet_letters(
            answer_lines(book.garden, best),
            answer_lines(changed, other),
            book.names,
            governing,
        ),
        is_changed=bool(changes),
        changes=tuple(changes),
        problems=tuple(problems),
        thresholds=threshold_options(book, changed.threshold_kpa),
        governing=governing_options(book, governing),
        heads=head_options(book, changed),
        stages=stage_options(book, asked.get("stage", "")),
        opens=asked.get("opens", "")[:5],
        closes=asked.get("closes", "")[:5],
        at_once=at_once_options(book.garden, asked.get("at_once", "")),
        ways=ways_out(book.garden, best, book.steps_kpa) if with_ways and falls_short(best) else (),
        short_history=bool(book.garden.weather.is_short[book.garden.weather_column[0]]),
    )


def falls_short(best: Answer) -> bool:
    """Whether the best program does not fit, or leaves a zone dry on too many days between waterings."""
    most = best.given.settings.most_dry_share
    return not best.figures.fits or bool((best.done.dry_share > most).any())


def _as_set(book: GardenBook) -> Column:
    """What stands in the timer."""
    done = trial_of_set(book)
    if done is None:
        return Column("As set", None, "nobody told what the timer is set to")
    found = figures(book.garden.problem(), done[0])
    return Column("As set", found, "breaks the watering rule" if done[1] else "")


def _column(word: str, answer: Answer) -> Column:
    """The figures of a best program."""
    if answer.chosen.pattern[0] < 0:
        return Column(word, None, "nothing may run")
    starts = int(answer.chosen.starts[0])
    note = "one pass a watering day" if starts == 1 else f"{starts} passes a watering day"
    return Column(word, answer.figures, note if answer.figures.fits else f"{note}; falls short")


def _changed(book: GardenBook, asked: Mapping[str, str]) -> tuple[Garden, list[str], list[str]]:
    """The garden as asked, what was changed, and what could not be read."""
    garden, changes, problems = book.garden, [], []
    stations = {int(station) for station in garden.zones.station}
    governing, threshold = asked.get("governing", ""), asked.get("threshold", "")
    if governing and is_governed(garden):
        own = int(garden.zones.station[garden.zones.is_governing][0])
        if not governing.isdecimal() or int(governing) not in stations:
            problems.append(f"Sensor at station {governing[:20]}: no such zone.")
        elif int(governing) != own:
            garden = garden.with_governing(int(governing))
            changes.append(f"sensor at station {governing} instead of {own}")
    if threshold and is_governed(garden):
        kpa = _kpa(threshold)
        if kpa is None:
            problems.append(
                f"Threshold {threshold[:20]}: expected more than {soil.FIELD_CAPACITY_KPA:g} kPa"
                " (field capacity) and at most 200."
            )
        elif kpa != garden.threshold_kpa:
            garden = garden.with_threshold(kpa)
            changes.append(f"threshold {kpa:g} kPa")
    heads = {}
    for station, kind in zip(garden.zones.station, garden.zones.head, strict=True):
        head = asked.get(f"head{int(station)}", "")
        if head and head not in landscape.HEADS:
            problems.append(f"Head {head[:20]}: expected one of {', '.join(landscape.HEADS)}.")
        elif head and head != landscape.HEADS[int(kind)]:
            heads[int(station)] = head
            changes.append(f"station {int(station)} with {Head(head).label}")
    garden = garden.with_heads(heads) if heads else garden
    garden = _at_once(garden, asked.get("at_once", ""), changes, problems)
    return _with_rules(book, garden, asked, changes, problems)


def _at_once(garden: Garden, value: str, changes: list[str], problems: list[str]) -> Garden:
    """The garden with one or two stations at once."""
    now = int(garden.controller.stations_at_once[0])
    if value == "1" and now > 1:
        changes.append("one station at a time")
        return garden.with_timer(stations_at_once=1)
    if value != "2" or may_share(garden):
        return garden
    other = two_at_once(garden)
    if other is None:
        problems.append("Two stations at once: no two may share the flow, or it would not shorten a pass.")
        return garden
    changes.append(f"two stations at once, {other.controller.flow_limit_l_min[0]:.0f} L/min needed")
    return other


def _with_rules(
    book: GardenBook, garden: Garden, asked: Mapping[str, str], changes: list[str], problems: list[str]
) -> tuple[Garden, list[str], list[str]]:
    """The garden under the stage and the hours asked for."""
    stages, name = _asked_stages(book, asked.get("stage", ""))
    window = _window(asked.get("opens", ""), asked.get("closes", ""))
    if window is None and (asked.get("opens") or asked.get("closes")):
        problems.append("Hours: expected both, as 20:00 and 08:00.")
    if not name and window is None:
        return garden, changes, problems
    if window is not None:
        stages = tuple(replace(stage, windows=(window,)) for stage in stages) or (
            Stage(name="hours", windows=(window,)),
        )
        changes.append(f"hours {asked['opens']} to {asked['closes']}")
    if name:
        changes.append(name)
    return garden.with_case(book.case(stages)), changes, problems


def _asked_stages(book: GardenBook, value: str) -> tuple[tuple[Stage, ...], str]:
    """Stages asked for, and their name; as they stand, with an empty name, where none was asked for."""
    if value in COMMON_STAGES:
        word, stage = COMMON_STAGES[value]
        return ((stage,) if stage is not None else ()), word
    number = value.removeprefix("own")
    if value.startswith("own") and number.isdecimal() and int(number) < len(book.stages):
        stage = replace(book.stages[int(number)], starts_on=None, ends_on=None)
        return (stage,), f"stage “{stage.name}” alone"
    return book.stages, ""


def _window(opens: str, closes: str) -> Window | None:
    """Hours from two clock times; None where one is missing or no time."""
    try:
        (a, b), (c, d) = ((int(part) for part in text.split(":")) for text in (opens, closes))
        # A minute before midnight stands for midnight: no timer field shows 24:00.
        return Window(60 * a + b, 1440 if (c, d) == (23, 59) else 60 * c + d)
    except ValueError:
        return None


def _kpa(text: str) -> float | None:
    """A threshold [kPa], None where it is none."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if soil.FIELD_CAPACITY_KPA < value <= 200.0 else None
