"""What a technician keys in at a stop is what the printed sheet says."""

from __future__ import annotations

from collections.abc import Sequence

from fleet.selectors.programs.key_in import key_in_lines
from sites.calc.program.sheet import sheet_letters
from sites.models import ProgramLine
from sites.selectors.program_lines import keyed_of

NAMES = {1: "Front lawn", 4: ""}


def lines(
    letter: str, stations: Sequence[int], starts: str = "03:00", adjust: int = 100
) -> list[ProgramLine]:
    return [
        ProgramLine(
            letter=letter, days="odd", starts=starts, station=station, run_min=9 + station, run_order=order,
            seasonal_adjust_pct=adjust,
        )
        for order, station in enumerate(stations)
    ]  # fmt: skip


def test_a_letter_that_is_no_longer_used_only_loses_its_starts() -> None:
    old = [*lines("A", [1, 4]), *lines("C", [1, 4], starts="02:40;05:30")]
    new = lines("A", [1, 4])

    found = [line for line in key_in_lines(old, new, NAMES) if line.is_change]

    assert [(line.code, line.label, line.old, line.new) for line in found] == [
        ("C/start1", "C start 1", "02:40", "off"),
        ("C/start2", "C start 2", "05:30", "off"),
    ]


def test_stop_and_sheet_ask_for_the_same_settings_in_the_same_order() -> None:
    old = [*lines("A", [1, 4]), *lines("B", [4], starts="01:00")]
    new = [*lines("A", [4, 1], starts="03:00;05:00", adjust=90), *lines("D", [1])]

    found = key_in_lines(old, new, NAMES)
    printed = [step for letter in sheet_letters(keyed_of(old), keyed_of(new), NAMES) for step in letter.steps]

    assert [(line.old, line.new) for line in found] == [(step.now, step.new) for step in printed]
    assert sum(line.is_change for line in found) == sum(step.is_change for step in printed)
    codes = [line.code for line in found]
    assert codes[:6] == ["A/days", "A/start1", "A/start2", "A/station4", "A/station1", "A/adjust"]
    assert len(set(codes)) == len(codes)
    labels = {line.code: line.label for line in found}
    assert labels["A/station1"] == "A station 1, Front lawn"
    assert labels["A/station4"] == "A station 4"
