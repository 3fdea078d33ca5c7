"""A program sheet for the homeowner: what changes, why, and what to expect, without a word of the trade."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fleet.selectors.programs.sheet import ProgramSheet
from sites.calc.program.days import days_words, parse_starts

# A word of the round's sentences -> what it means to somebody who has never seen a timer's inside.
PLAIN: Final[tuple[tuple[str, str], ...]] = (
    (
        "run-off limit",
        "Some turns were so long that water ran off. It now comes in shorter turns with pauses between.",
    ),
    ("watering rules bar", "The timer watered on days or at hours that your water supplier does not allow."),
    ("of the need", "Part of the garden was getting too little for this time of year."),
    ("drier than they should", "Part of the garden would have gone thirsty between two waterings."),
    ("is lost to", "Part of the water sank below the roots, where no plant can reach it."),
    ("times as much water", "The timer gave more than the garden can use."),
    ("Nobody told", "We did not know what the timer was set to; now it follows the weather of past years."),
    ("Written by hand", "We set this by hand for your garden."),
)
_RULES_WORDS: Final = "On the days that your water supplier allows, this is as near as any timer can come."


@dataclass(frozen=True, slots=True)
class HomeRun:
    """One line of when it waters: days and times in words, and the names of what it waters."""

    days: str
    times: tuple[int, ...]
    places: str
    minutes: float


@dataclass(frozen=True, slots=True)
class HomeSheet:
    """The sheet in plain words. `litres_a_week` is the change, below 0: less; None where nothing changes."""

    is_change: bool
    why: tuple[str, ...]
    runs: tuple[HomeRun, ...]
    litres_a_week: float | None
    blocks_share: float | None
    has_sensor: bool

    @property
    def litres_saved(self) -> float:
        """Litres a week less than before [L]; 0 where nothing is known."""
        return -(self.litres_a_week or 0.0)


def home_sheet(sheet: ProgramSheet) -> HomeSheet:
    """The sheet of a controller in plain words.

    Parameters
    ----------
    sheet
        The technician's sheet.
    """
    answer = sheet.answer
    said = " ".join([*sheet.why, *sheet.cautions])
    why = [plain for word, plain in PLAIN if word in said] if sheet.is_change else []
    if answer is not None and answer.binding_limit == "watering days":
        why.append(_RULES_WORDS)
    return HomeSheet(
        is_change=sheet.is_change,
        why=tuple(why),
        runs=_runs(sheet),
        litres_a_week=_rounded(-answer.water_at_stake_l / 4.0)
        if sheet.is_change and answer is not None
        else None,
        blocks_share=answer.expected_bypass_rate if answer is not None else None,
        has_sensor=sheet.sensor is not None and sheet.controller.governed,
    )


def _runs(sheet: ProgramSheet) -> tuple[HomeRun, ...]:
    """When it waters: one line a letter that is used."""
    found = []
    for letter in sheet.keyed_letters:
        names = [sheet.names.get(line.station, "") or f"station {line.station}" for line in letter]
        minutes = sum(line.run_min * line.seasonal_adjust_pct / 100.0 for line in letter)
        if minutes > 0:
            found.append(
                HomeRun(days_words(letter[0].days), parse_starts(letter[0].starts), ", ".join(names), minutes)
            )
    return tuple(found)


def _rounded(litres: float) -> float:
    """Two figures are all that such an estimate bears [L]."""
    return float(f"{litres:.2g}")
