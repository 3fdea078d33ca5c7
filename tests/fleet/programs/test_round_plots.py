"""Drawings of the weekly round: the strip of a day, and two dots on a line."""

from __future__ import annotations

import re

from fleet.charts.round_plots import day_strip, two_dots
from sites.calc.program.sheet import KeyedLine, day_passes


def test_the_strip_speaks_its_runs_and_is_empty_without_any() -> None:
    passes = day_passes([KeyedLine("A", "daily", "23:30", 3, 60)])

    drawn = day_strip([("now", ()), ("new", passes)])

    assert 'aria-label="now: nothing runs; new: 1 runs from 23:30 to 0:30"' in drawn
    assert "<text" in drawn
    assert day_strip([("now", ())]) == ""


def test_runs_side_by_side_are_drawn_one_below_the_other() -> None:
    side = [KeyedLine("A", "daily", "04:00", 1, 20), KeyedLine("B", "daily", "04:00", 2, 30)]
    after = [KeyedLine("A", "daily", "04:00", 1, 20), KeyedLine("B", "daily", "04:20", 2, 30)]

    def tops(lines: list[KeyedLine]) -> list[str]:
        drawn = day_strip([("new", day_passes(lines))])
        return re.findall(r'class="blk[^"]*" x="[^"]*" y="(\d+)"', drawn)

    assert tops(after) == ["25", "25"]
    assert tops(side) == ["25", "49"]


def test_two_dots_speak_what_they_show() -> None:
    assert "unknown minutes a week set now, 200 recommended" in two_dots(now=None, new=200.0, most=300.0)
