"""The sheet: what to key in, in the order in which a timer asks for it."""

from __future__ import annotations

import pytest

from sites.calc.program.days import days_words
from sites.calc.program.sheet import KeyedLine, day_passes, sheet_letters

NOW = [
    KeyedLine("A", "odd", "03:00;05:30", 1, 12),
    KeyedLine("A", "odd", "03:00;05:30", 2, 14),
    KeyedLine("A", "odd", "03:00;05:30", 3, 16),
]
NEW = [
    KeyedLine("A", "odd", "03:00;04:50;06:40", 1, 12),
    KeyedLine("A", "odd", "03:00;04:50;06:40", 2, 11),
    KeyedLine("B", "every:4@2026-06-16", "01:00", 3, 51),
]
NAMES = {1: "front lawn", 2: "side strip", 3: "shrubs"}


def test_a_letter_asks_for_days_then_starts_then_stations_in_run_order_then_adjust() -> None:
    letters = sheet_letters(NOW, NEW, NAMES, governing_station=2)

    first = [(step.label, step.now, step.new, step.is_change) for step in letters[0].steps]
    assert first == [
        ("Days", "odd dates", "odd dates", False),
        ("Start 1", "03:00", "03:00", False),
        ("Start 2", "05:30", "04:50", True),
        ("Start 3", "off", "06:40", True),
        ("front lawn", "12 min", "12 min", False),
        ("side strip", "14 min", "11 min", True),
        ("shrubs", "16 min", "off", True),
        ("Seasonal adjust", "100 %", "100 %", False),
    ]
    assert [step.is_governing for step in letters[0].steps if step.station] == [False, True, False]


def test_a_letter_that_was_not_used_is_keyed_in_whole() -> None:
    letters = sheet_letters(NOW, NEW, NAMES)

    assert [letter.letter for letter in letters] == ["A", "B"]
    assert letters[1].changes == len(letters[1].steps)
    assert letters[1].steps[0].new == "every 4 days, from 16 Jun"


def test_a_letter_that_is_no_longer_used_only_loses_its_starts() -> None:
    now = [KeyedLine("C", "daily", "02:40;05:30", station, 9.0) for station in (1, 4)]

    (letter,) = sheet_letters(now, [], {}, 4)

    assert [(step.label, step.now, step.new) for step in letter.steps] == [
        ("Start 1", "02:40", "off"),
        ("Start 2", "05:30", "off"),
    ]
    assert letter.changes == 2


def test_nothing_is_to_change_where_both_are_the_same() -> None:
    assert sum(letter.changes for letter in sheet_letters(NOW, NOW, NAMES)) == 0
    assert sheet_letters([], [], NAMES) == ()


def test_runs_of_a_day_follow_each_other_from_each_start() -> None:
    passes = day_passes(NEW)

    assert [(one.letter, one.station, one.start_min) for one in passes[:3]] == [
        ("B", 3, 60.0),
        ("A", 1, 180.0),
        ("A", 2, 192.0),
    ]
    assert len(passes) == 7


def test_seasonal_adjust_lengthens_the_runs_that_are_drawn() -> None:
    line = KeyedLine("A", "daily", "03:00", 1, 10, seasonal_adjust_pct=150)

    assert day_passes([line])[0].length_min == 15.0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("mon,wed,fri", "Mon, Wed, Fri"),
        ("every:3@2026-06-16", "every 3 days, from 16 Jun"),
        ("every:3", "every 3 days"),
        ("odd", "odd dates"),
        ("even", "even dates"),
        ("daily", "every day"),
        ("now and then", "now and then"),
    ],
)
def test_days_are_told_in_plain_words(text: str, words: str) -> None:
    assert days_words(text) == words
