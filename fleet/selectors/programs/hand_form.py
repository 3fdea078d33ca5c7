"""A program written by hand, as fields of a form: letters across, stations down."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from sites.calc.program.days import DayPatternError, StartTimesError, parse_days, parse_starts, starts_text
from sites.calc.program.sheet import KeyedLine
from sites.calc.program.times import LETTERS
from sites.models import Controller, ProgramLine, ProgramSet, Recommendation, RecommendationLine, Zone
from sites.models.choices import StationOrder

MOST_LETTERS: Final = 4
_LONGEST: Final = 200


@dataclass(frozen=True, slots=True)
class HandLetter:
    """A letter's fields, as texts."""

    letter: str
    days: str
    starts: str
    adjust: str


@dataclass(frozen=True, slots=True)
class HandRow:
    """A station's fields: minutes in each letter, as texts."""

    station: int
    name: str
    is_governing: bool
    minutes: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class HandForm:
    """The form: its fields, the lines that they say, and what could not be read."""

    letters: tuple[HandLetter, ...]
    rows: tuple[HandRow, ...]
    lines: tuple[KeyedLine, ...]
    errors: tuple[str, ...]


def hand_form(*, recommendation: Recommendation, fields: Mapping[str, str] | None) -> HandForm:
    """The form of a recommendation: with its own program, or with what was posted."""
    controller = recommendation.controller
    letters = LETTERS[: min(controller.program_count, MOST_LETTERS)]
    names = dict(Zone.objects.filter(controller=controller).values_list("station", "name"))
    sensor = getattr(controller, "sensor", None)
    governing = sensor.station if sensor is not None and controller.governed else 0
    given = dict(fields) if fields is not None else _fields(_own_lines(recommendation))
    known = list(dict.fromkeys(line.station for line in _own_lines(recommendation)))
    lines, errors = _lines(given, letters, sorted(names), recommendation.week)
    return HandForm(
        letters=tuple(
            HandLetter(
                letter,
                given.get(f"days{letter}", ""),
                given.get(f"starts{letter}", ""),
                given.get(f"adjust{letter}", "100"),
            )
            for letter in letters
        ),
        rows=tuple(
            HandRow(
                station,
                names[station],
                station == governing,
                tuple(
                    (f"min{letter}{station}", given.get(f"min{letter}{station}", "")) for letter in letters
                ),
            )
            for station in sorted(names)
        ),
        lines=_in_order(lines, controller, known, governing),
        errors=tuple(errors),
    )


def _own_lines(recommendation: Recommendation) -> list[RecommendationLine | ProgramLine]:
    """The recommended lines; where nothing can be recommended, those that are set."""
    own: list[RecommendationLine | ProgramLine] = list(recommendation.lines.order_by("letter", "run_order"))
    if own:
        return own
    newest = ProgramSet.objects.filter(controller=recommendation.controller).order_by("-as_of").first()
    return list(newest.lines.order_by("letter", "run_order")) if newest is not None else []


def _fields(lines: Iterable[RecommendationLine | ProgramLine]) -> dict[str, str]:
    """Lines as fields."""
    found = {}
    for line in lines:
        found[f"days{line.letter}"] = line.days
        found[f"starts{line.letter}"] = line.starts.replace(";", " ")
        found[f"adjust{line.letter}"] = f"{line.seasonal_adjust_pct:g}"
        found[f"min{line.letter}{line.station}"] = f"{line.run_min:g}"
    return found


def _lines(
    given: Mapping[str, str], letters: str, stations: list[int], week: date
) -> tuple[list[KeyedLine], list[str]]:
    """Lines that the fields say, and what could not be read. A letter without minutes is not used."""
    found, errors = [], []
    for letter in letters:
        minutes = {}
        for station in stations:
            text = given.get(f"min{letter}{station}", "").strip()[:_LONGEST]
            value = _number(text)
            if text and value is None:
                errors.append(f"Station {station} in program {letter}: {text!r} is no number of minutes.")
            elif value:
                minutes[station] = value
        if not minutes:
            continue
        head = _head(given, letter, week, errors)
        if head is None:
            continue
        days, starts, adjust = head
        found += [
            KeyedLine(letter, days, starts, station, value, adjust) for station, value in minutes.items()
        ]
    return found, errors


def _head(
    given: Mapping[str, str], letter: str, week: date, errors: list[str]
) -> tuple[str, str, float] | None:
    """Days, starts and adjust of a letter; None where one cannot be read."""
    days, starts = given.get(f"days{letter}", "")[:_LONGEST], given.get(f"starts{letter}", "")[:_LONGEST]
    adjust = _number(given.get(f"adjust{letter}", "100") or "100")
    try:
        pattern = parse_days(days, week)
        times = parse_starts(";".join(starts.replace(",", " ").replace(";", " ").split()))
    except (DayPatternError, StartTimesError) as error:
        errors.append(f"Program {letter}: {error}.")
        return None
    if adjust is None or not 0 < adjust <= 300:
        errors.append(f"Program {letter}: seasonal adjust is a number above 0, up to 300.")
        return None
    return pattern.text, starts_text(times), adjust


def _number(text: str) -> float | None:
    """A number from 0 to 999; None where the text is none."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if 0 <= value < 1000 else None


def _in_order(
    lines: list[KeyedLine], controller: Controller, known: list[int], governing: int
) -> tuple[KeyedLine, ...]:
    """The lines as the timer runs them: by number, or as before with the sensor's station last."""
    if controller.station_order != StationOrder.FREE:
        return tuple(sorted(lines, key=lambda line: (line.letter, line.station)))
    place = {station: at for at, station in enumerate(known)}
    return tuple(
        sorted(
            lines,
            key=lambda line: (
                line.letter,
                line.station == governing,
                place.get(line.station, len(place) + line.station),
            ),
        )
    )
