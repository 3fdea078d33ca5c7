"""Letters for stations apart: their hours beside the first letters, and both in one timetable."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sites.calc.program.patterns import Block, DayChoice
from sites.calc.program.times import LETTERS, Letter, Timetable
from sites.calc.rules.stages import MINUTES_A_DAY
from sites.calc.search.chosen import Chosen
from sites.calc.search.problem import Problem

# Between the letters of one timer some minutes are left [min], and less room than this is none.
_APART_MIN = 5
_LEAST_ROOM_MIN = 10


@dataclass(frozen=True, slots=True)
class Split:
    """A program in the stations' own hours.

    Parameters
    ----------
    table
        Its timetable, every letter with its days.
    choices
        Its day choices.
    main, apart
        Stations in the first letters, and in the letter apart; those in neither get no water.
    """

    table: Timetable
    choices: tuple[DayChoice, ...]
    main: tuple[int, ...]
    apart: tuple[int, ...]


def beside_letters(choices: Sequence[DayChoice], table: Timetable | None) -> tuple[DayChoice, ...]:
    """Day choices without the hours that other letters take, on whatever day.

    Parameters
    ----------
    choices
        The choices, with their hours [min].
    table
        The other letters; None: there are none.
    """
    if table is None:
        return tuple(choices)
    begins = min(letter.starts_min[0] for letter in table.letters) - _APART_MIN
    ends = max(letter.starts_min[-1] + sum(run.minutes for run in letter.runs) for letter in table.letters)
    ends = int(np.ceil(ends)) + _APART_MIN
    found = []
    for choice in choices:
        blocks = [piece for block in choice.blocks for piece in _pieces(block, begins, ends)]
        if blocks:
            found.append(replace(choice, blocks=tuple(blocks)))
    return tuple(found)


def _pieces(block: Block, begins: int, ends: int) -> list[Block]:
    """What is left of a block beside hours that are taken every day."""
    left = [(block.opens_min, block.closes_min)]
    for shift in (-MINUTES_A_DAY, 0, MINUTES_A_DAY):
        low, high = begins + shift, ends + shift
        left = [
            piece
            for opens, closes in left
            for piece in ((opens, min(closes, low)), (max(opens, high), closes))
            if piece[1] - piece[0] >= _LEAST_ROOM_MIN
        ]
    return [Block(opens, closes) for opens, closes in left if opens < MINUTES_A_DAY]


def joined(
    main: Problem,
    chosen: Chosen,
    choices: Sequence[DayChoice],
    table: Timetable | None,
    other: Chosen,
    free: Sequence[DayChoice],
    apart: Timetable | None,
    at: int,
) -> Split | None:
    """Both timetables in one; None where neither runs, or one does not fit.

    Parameters
    ----------
    main, chosen, choices, table
        Stations of the first letters: problem, programs, day choices of this controller, timetable.
    other, free, apart
        Stations apart: programs, day choices of this controller, timetable.
    at
        Position of the controller.
    """
    letters: list[Letter] = []
    used: list[DayChoice] = []
    for part, of, its in ((table, chosen, choices), (apart, other, free)):
        if part is None:
            continue
        low = its[int(of.low_pattern[at])] if of.low_pattern[at] >= 0 else None
        main_choice = its[int(of.pattern[at])]
        used += [main_choice] if low is None else [main_choice, low]
        taken = max((LETTERS.index(one.letter) + 1 for one in letters), default=0) if part is apart else 0
        letters += [
            replace(
                letter,
                letter=LETTERS[taken + LETTERS.index(letter.letter)],
                days=(low if letter.is_low and low is not None else main_choice).pattern.text,
            )
            for letter in part.letters
        ]
    parts = [one for one in (table, apart) if one is not None]
    if (
        not parts
        or any(one.overrun_min > 0 for one in parts)
        or len(letters) > main.controllers.program_count[at] + 1
    ):
        return None
    return Split(
        Timetable(
            letters=tuple(letters),
            used_min=sum(one.used_min for one in parts),
            window_min=sum(one.window_min for one in parts),
            needs_wire_move=any(one.needs_wire_move for one in parts),
            cut_short=tuple(station for one in parts for station in one.cut_short),
            overrun_min=0.0,
        ),
        tuple(used),
        _stations(table),
        _stations(apart),
    )


def _stations(table: Timetable | None) -> tuple[int, ...]:
    """Stations that a timetable runs."""
    if table is None:
        return ()
    return tuple(sorted({run.station for letter in table.letters for run in letter.runs}))
