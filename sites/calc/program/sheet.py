"""A program as a timer asks for it: letter by letter, days, starts, then stations, old against new."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sites.calc.program.days import days_words, parse_starts, starts_text

OFF = "off"


@dataclass(frozen=True, slots=True)
class KeyedLine:
    """One station's line of a letter as keyed in; minutes before seasonal adjust [min]."""

    letter: str
    days: str
    starts: str
    station: int
    run_min: float
    seasonal_adjust_pct: float = 100.0


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to key in. `station` is 0 for days, starts and adjust."""

    label: str
    now: str
    new: str
    station: int = 0
    is_governing: bool = False

    @property
    def is_change(self) -> bool:
        """Whether something has to be keyed in."""
        return self.now != self.new


@dataclass(frozen=True, slots=True)
class SheetLetter:
    """One program letter with its steps in the order in which a timer asks for them."""

    letter: str
    steps: tuple[Step, ...]

    @property
    def changes(self) -> int:
        """Number of things to key in."""
        return sum(step.is_change for step in self.steps)


@dataclass(frozen=True, slots=True)
class Pass:
    """One run of a watering day: station, letter, start [min after midnight] and length [min]."""

    letter: str
    station: int
    start_min: float
    length_min: float


def sheet_letters(
    now: Sequence[KeyedLine],
    new: Sequence[KeyedLine],
    names: Mapping[int, str],
    governing_station: int = 0,
) -> tuple[SheetLetter, ...]:
    """Letters of a program with every step, as set and as it should be.

    Parameters
    ----------
    now
        Lines as set, in run order within their letter.
    new
        Lines as they should be, in run order.
    names
        Names of the zones by station.
    governing_station
        Station of the sensor's zone; 0: none.
    """
    letters = sorted({line.letter for line in [*now, *new]})
    return tuple(
        SheetLetter(
            letter,
            _steps(
                [line for line in now if line.letter == letter],
                [line for line in new if line.letter == letter],
                names,
                governing_station,
            ),
        )
        for letter in letters
    )


def _steps(
    now: Sequence[KeyedLine], new: Sequence[KeyedLine], names: Mapping[int, str], governing: int
) -> tuple[Step, ...]:
    """Steps of one letter; one that is no longer used rests as soon as its starts are off."""
    old_starts, new_starts = _starts(now), _starts(new)
    starts = [
        Step(f"Start {number + 1}", _nth(old_starts, number), _nth(new_starts, number))
        for number in range(max(len(old_starts), len(new_starts)))
    ]
    if starts and not new:
        return tuple(starts)
    steps = [Step("Days", _head(now, "days"), _head(new, "days")), *starts]
    minutes_now, minutes_new = ({line.station: line.run_min for line in lines} for lines in (now, new))
    steps += [
        Step(
            names.get(station, "") or f"station {station}",
            _minutes(minutes_now.get(station)),
            _minutes(minutes_new.get(station)),
            station,
            station == governing,
        )
        for station in dict.fromkeys([*minutes_new, *minutes_now])
    ]
    steps.append(Step("Seasonal adjust", _head(now, "adjust"), _head(new, "adjust")))
    return tuple(steps)


def _head(lines: Sequence[KeyedLine], what: str) -> str:
    """Days or adjust of a letter, off where the letter is not used."""
    if not lines:
        return OFF
    if what == "days":
        return days_words(lines[0].days)
    return f"{lines[0].seasonal_adjust_pct:g} %"


def _starts(lines: Sequence[KeyedLine]) -> tuple[str, ...]:
    """Start times of a letter."""
    return tuple(starts_text((start,)) for start in parse_starts(lines[0].starts)) if lines else ()


def _nth(values: Sequence[str], number: int) -> str:
    """The n-th value, off where there is none."""
    return values[number] if number < len(values) else OFF


def _minutes(value: float | None) -> str:
    """Minutes of a run, off where the station does not run."""
    return OFF if not value else f"{value:g} min"


def day_passes(lines: Sequence[KeyedLine]) -> tuple[Pass, ...]:
    """Runs of a day on which all letters water, one after the other from each start, by start [min].

    Parameters
    ----------
    lines
        Lines in run order within their letter.
    """
    found = []
    for letter in sorted({line.letter for line in lines}):
        own = [line for line in lines if line.letter == letter]
        for start in parse_starts(own[0].starts):
            at = float(start)
            for line in own:
                length = line.run_min * line.seasonal_adjust_pct / 100.0
                if length > 0:
                    found.append(Pass(letter, line.station, at, length))
                    at += length
    return tuple(sorted(found, key=lambda one: one.start_min))
