"""What the timers of the invented gardens were set to, season by season, and what is wrong with some."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np

from fleet.demo.book import DemoSite
from fleet.demo.crew import KL, PEAK_WEEK_MM, Keyed, by_the_book, clock_text
from fleet.demo.gardens import DemoController

SEASON_START: Final = (4, 15)
SEASON_END: Final = (10, 20)
ASSUMED_RATE_MM_H: Final = {
    "fixed_spray": 41.0, "rotor": 13.0, "rotary_nozzle": 11.0, "dripline": 15.0, "bubbler": 25.0,
}  # fmt: skip
# Share of the timers that the crew left with something wrong.
LEFT_WRONG: Final = 0.1
CLOCK_STARTS: Final = {"Wend Valley Water": (240, 390), "Hillside Mutual": (1230, 1380)}
# From this day of each year on, the seasonal adjust of timers without a sensor [%].
ADJUST_TURNS: Final = (
    ((4, 15), 65),
    ((5, 12), 80),
    ((6, 8), 92),
    ((7, 1), 100),
    ((8, 20), 80),
    ((9, 20), 60),
)


@dataclass(frozen=True, slots=True)
class Setting:
    """One controller's setting from a day on: its letters in the order of the clock, and the adjust."""

    as_of: date
    letters: tuple[Keyed, ...]
    adjust_pct: int


def settings_of(
    rng: np.random.Generator, site: DemoSite, controller: DemoController, *, first: date, today: date
) -> list[Setting]:
    """The settings to `today`.

    Where a sensor came, they were generous before and are as a good crew reckons after, in several passes, so
    that the sensor has its say; where none came, they are as a good crew reckons, and the seasonal adjust
    follows the year. Some were left with something wrong. All are off in winter.
    """
    has_sensor = controller.sensor_spot is not None and site.sensor_since is not None
    generous = _habit(rng, site, controller, factor=float(rng.uniform(1.0, 1.75)))
    careful = by_the_book(site, controller, has_sensor=has_sensor)
    is_wrong, kind = bool(rng.random() < LEFT_WRONG), int(rng.integers(len(WRONGS)))
    if is_wrong:
        careful = WRONGS[kind](careful)
    change = site.sensor_since if has_sensor and site.sensor_since else first
    stuck = is_wrong and WRONGS[kind] is _left_as_it_is
    return [
        Setting(
            as_of=turn,
            letters=careful if turn >= change else generous,
            adjust_pct=_adjust(turn, follows_the_year=not has_sensor, stuck=stuck),
        )
        for turn in _turns(first, today, change, follows_the_year=not has_sensor)
    ]


def is_season(day: date) -> bool:
    """Whether the timers are on."""
    return date(day.year, *SEASON_START) <= day < date(day.year, *SEASON_END)


def _turns(first: date, today: date, change: date, *, follows_the_year: bool) -> list[date]:
    """Days on which a setting begins."""
    days = {SEASON_START, SEASON_END} | ({day for day, _ in ADJUST_TURNS} if follows_the_year else set())
    turns = {date(year, *day) for year in range(first.year, today.year + 1) for day in days} | {change}
    return [first, *(turn for turn in sorted(turns) if first < turn <= today)]


def _adjust(turn: date, *, follows_the_year: bool, stuck: bool) -> int:
    """Seasonal adjust [%]; 0: off."""
    if not is_season(turn):
        return 0
    if stuck:
        return ADJUST_TURNS[0][1]
    if not follows_the_year:
        return 100
    return [pct for day, pct in ADJUST_TURNS if (turn.month, turn.day) >= day][-1]


def _habit(
    rng: np.random.Generator, site: DemoSite, controller: DemoController, *, factor: float
) -> tuple[Keyed, ...]:
    """Two starts of one letter, minutes set by somebody who knows the heads only by their kind."""
    starts = CLOCK_STARTS[site.part.supplier]
    runs = []
    for zone in controller.zones:
        need = PEAK_WEEK_MM * KL[zone.plant] * factor * float(rng.lognormal(0, 0.15))
        depth = need / (waterings_a_week(site) * len(starts) * 0.72)
        longest = 24 if zone.head == "fixed_spray" else 70
        minutes = int(np.clip(round(60 * depth / ASSUMED_RATE_MM_H[zone.head]), 2, longest))
        runs.append((zone.station, minutes))
    return (Keyed("A", days_of(site), tuple(clock_text(start) for start in starts), tuple(runs)),)


def days_of(site: DemoSite) -> str:
    """The days on which the site's rule lets it water."""
    is_odd = site.number % 2 == 1
    if site.part.supplier == "Wend Valley Water":
        return "odd" if is_odd else "even"
    return "wed,sat" if is_odd else "thu,sun"


def waterings_a_week(site: DemoSite) -> float:
    """Allowed days a week."""
    return 3.5 if site.part.supplier == "Wend Valley Water" else 2.0


def _one_long_run(letters: tuple[Keyed, ...]) -> tuple[Keyed, ...]:
    """All passes put into one long one: past the run-off limit."""
    passes = len(letters[0].starts)
    runs = sorted({run[0]: run for letter in letters for run in letter.runs}.values())
    longer = tuple((station, min(minutes * max(passes, 2), 90)) for station, minutes in runs)
    return (Keyed("A", letters[0].days, letters[0].starts[:1], longer),)


def _all_alike(letters: tuple[Keyed, ...]) -> tuple[Keyed, ...]:
    """Every station with the lawn's minutes, as the timer came out of its box."""
    most = max(minutes for letter in letters for _, minutes in letter.runs)
    return tuple(
        replace(letter, runs=tuple((station, most) for station, _ in letter.runs)) for letter in letters
    )


def _too_short(letters: tuple[Keyed, ...]) -> tuple[Keyed, ...]:
    """Set in spring and never lengthened for the summer."""
    return tuple(
        replace(
            letter,
            runs=tuple((station, max(2, round(minutes * 0.6))) for station, minutes in letter.runs),
        )
        for letter in letters
    )


def _old_days(letters: tuple[Keyed, ...]) -> tuple[Keyed, ...]:
    """Monday, Wednesday, Friday, from before the watering rule."""
    return tuple(replace(letter, days="mon,wed,fri") for letter in letters)


def _by_day(letters: tuple[Keyed, ...]) -> tuple[Keyed, ...]:
    """Somebody wanted to see it run: a start at noon."""
    return (
        tuple(replace(letter, starts=(*letter.starts[:-1], "12:00")) for letter in letters[:1]) + letters[1:]
    )


def _one_zone_dry(letters: tuple[Keyed, ...]) -> tuple[Keyed, ...]:
    """One station shortened after a complaint about a puddle, and forgotten."""
    station, minutes = max(letters[0].runs, key=lambda run: run[1])
    less = (station, max(1, minutes // 2))
    return (
        replace(letters[0], runs=tuple(less if run[0] == station else run for run in letters[0].runs)),
        *letters[1:],
    )


def _left_as_it_is(letters: tuple[Keyed, ...]) -> tuple[Keyed, ...]:
    """Minutes as they should be, but the seasonal adjust still stands at spring's figure."""
    return letters


WRONGS: Final = (
    _one_long_run, _all_alike, _too_short, _old_days, _by_day, _one_zone_dry, _left_as_it_is,
)  # fmt: skip
