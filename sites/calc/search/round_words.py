"""Why a program changes, or why nothing better can be issued, in plain sentences; the deciding one first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from weather.calc.arrays import FloatArray, IntArray

# The limit by that name, as the search for it calls it.
WATERING_DAYS = "watering days"
# No zone needs more than this of irrigation in four weeks [mm]: common practice, no source.
OFF_SEASON_MM = 4.0
OFF_SEASON = "Off season: rain and soil bring nearly all that these four weeks need; the timer may rest."
# From here on a difference is told: zone-days [d], and per cent of what is applied.
_DRY_DAYS_WORTH_SAYING = 3.0
_LOSS_WORTH_SAYING = 4.0
# What the log says against the book [%].
_LOG_WORTH_SAYING = 5.0


@dataclass(frozen=True, slots=True)
class RoundFacts:
    """What the sentences about one controller are made of.

    Parameters
    ----------
    station, past_limit
        Stations, and which of them now run past their run-off limit, (zones,) and (n,).
    adequacy_now, adequacy
        Share of ET met as set, None where nothing is known, and by the new program [1], (zones,).
    gross_now_mm, gross_mm
        Depth over the horizon as set and by the new program [mm], (zones,).
    lost_now_pct, lost_pct
        Losses of what is applied, as set and by the new program [%].
    dry_days_spared
        Zone-days beyond allowed depletion that the new program spares over the horizon [d].
    promised
        Share of ET that is promised [1].
    starts, low_stations
        Starts of a watering day, and stations in the letter for low demand.
    is_change, breaks_rule, is_frozen
        Whether a change is worth making, whether what is set breaks a rule, whether the site keeps its
        program.
    binding
        Limit that keeps the program from being good; empty: none.
    reach_pct, adequacy_pct
        Need met by a full refill on every open day, and by the new program, by area [%].
    governing_station, cut_short
        Station of the sensor, and stations that it may cut short until wires are exchanged.
    log_factor
        How much more runs have to bring to the sensor's zone than the book says, by its log [1].
    fragile
        Stations that use more between waterings than their root zone may lose.
    threshold_words
        What to do about the threshold; empty: nothing.
    is_morning_after
        Whether its early hours belong, by the rule, to the evening before.
    off_days
        Days on which the timer has to be switched off.
    valid_until
        Day from which the days no longer fit the rules; None: beyond the four weeks.
    own_hours, barred
        Stations that the rules give other hours than the rest, in a letter of their own; and those that they
        give none.
    rests_on
        What it rests on that nobody told, in sentences.
    is_off_season
        Whether next to no water is needed over the horizon.
    adjust_pct
        Seasonal adjust of what is set that is all to be keyed in [%]; None: a new program.
    together
        What runs side by side in the new program, and stations too thirsty for the supply, in sentences.
    no_run, step_min
        Stations that no run fits, and the timer's step of minutes, which is too long for them [min].
    """

    station: IntArray
    past_limit: IntArray
    adequacy_now: FloatArray | None
    adequacy: FloatArray
    gross_now_mm: float
    gross_mm: float
    lost_now_pct: float
    lost_pct: float
    dry_days_spared: float
    promised: float
    starts: int
    low_stations: IntArray
    is_change: bool
    breaks_rule: bool
    is_frozen: bool
    binding: str
    reach_pct: float
    adequacy_pct: float
    governing_station: int
    log_factor: float
    cut_short: tuple[int, ...]
    fragile: IntArray
    threshold_words: str
    is_morning_after: bool
    off_days: tuple[date, ...]
    valid_until: date | None
    own_hours: tuple[int, ...] = ()
    barred: tuple[int, ...] = ()
    rests_on: tuple[str, ...] = ()
    is_off_season: bool = False
    adjust_pct: float | None = None
    together: tuple[str, ...] = ()
    no_run: IntArray | tuple[int, ...] = ()
    step_min: float = 1.0


def reasons(facts: RoundFacts) -> list[str]:
    """Plain sentences about one controller's program.

    Parameters
    ----------
    facts
        What they are made of.
    """
    found = [OFF_SEASON] if facts.is_off_season else []
    found += [_about_binding(facts)] if facts.binding else []
    found += _about_step(facts) + _about_now(facts)
    if facts.is_frozen:
        found.append("The site keeps its program as it is, by a person's decision.")
    elif not facts.is_change and facts.binding:
        found.append("A new program would do little better than what is set.")
    elif not facts.is_change:
        found.append("What is set is good enough: a change would save too little to key it in.")
    else:
        found.append(_about_new(facts))
    return found + _cautions(facts) + list(facts.rests_on)


def _about_binding(facts: RoundFacts) -> str:
    """Which limit binds, and how near the program comes to what the open days could give at all."""
    words = f"The best program falls short; what binds: {facts.binding}."
    if facts.binding != WATERING_DAYS:
        return words
    return (
        f"{words} On these days even a full refill each time would meet {facts.reach_pct:.0f} % of the need;"
        f" the program meets {facts.adequacy_pct:.0f} %."
    )


def _about_step(facts: RoundFacts) -> list[str]:
    """Stations whose water runs off before the timer's shortest run is over."""
    if not len(facts.no_run):
        return []
    named = stations_words(np.asarray(facts.no_run)).lower()
    words = f"No run fits {named}: the timer’s step, {facts.step_min:g} min, is longer than any run that"
    words += " soil, slope and heads take. Slower heads or a timer with a finer step would change that."
    return [words]


def _about_now(facts: RoundFacts) -> list[str]:
    """What is wrong with what is set."""
    found = []
    if facts.breaks_rule:
        found.append("As set, the timer waters on days or in hours that the watering rules bar.")
    if facts.past_limit.size:
        found.append(
            f"{stations_words(facts.past_limit)} now {_verb(facts.past_limit, 'runs', 'run')}"
            " past the run-off limit of soil, slope and heads."
        )
    if facts.adequacy_now is None:
        return ["Nobody told what the timer is set to now.", *found]
    dry = facts.station[facts.adequacy_now < facts.promised]
    if dry.size:
        least = 100 * float(facts.adequacy_now.min())
        named = stations_words(dry).lower()
        found.append(f"As set, {named} would get as little as {least:.0f} % of the need.")
    elif facts.dry_days_spared >= _DRY_DAYS_WORTH_SAYING:
        days = f"{facts.dry_days_spared:.0f}"
        found.append(f"As set, zones would be drier than they should on {days} more days of the four weeks.")
    if facts.lost_now_pct > facts.lost_pct + _LOSS_WORTH_SAYING:
        found.append(
            f"As set, {facts.lost_now_pct:.0f} % of the water is lost to run-off, drainage and many short"
            f" runs; the new program loses {facts.lost_pct:.0f} %."
        )
    if facts.gross_now_mm > 1.15 * max(facts.gross_mm, 1.0):
        times = facts.gross_now_mm / max(facts.gross_mm, 1.0)
        found.append(f"As set, it would apply {times:.1f} times as much water as the new program.")
    return found


def _about_new(facts: RoundFacts) -> str:
    """What the new program does."""
    least = 100 * float(facts.adequacy.min()) if facts.adequacy.size else 0.0
    if facts.adjust_pct is not None:
        return (
            f"Only the seasonal adjust changes, to {facts.adjust_pct:g} %: days, starts and minutes stay, and"
            f" every zone gets {least:.0f} % or more of its need. A new program would do little better."
        )
    if facts.starts == 1:
        passes = "One pass a watering day gives"
    else:
        passes = f"{facts.starts} short passes a watering day give"
    words = f"{passes} every zone {least:.0f} % or more of its need"
    if facts.low_stations.size:
        named = stations_words(facts.low_stations).lower()
        words += f"; {named} {_verb(facts.low_stations, 'needs less and moves', 'need less and move')}"
        words += " to program B"
    return words + "."


def _about_log(facts: RoundFacts) -> list[str]:
    """What the sensor's log says against the book."""
    less = 100.0 * (1.0 - 1.0 / facts.log_factor)
    if abs(less) < _LOG_WORTH_SAYING:
        return []
    word = "less" if less > 0 else "more"
    words = f"By the sensor’s log of the last six weeks, runs bring station {facts.governing_station} about"
    words += f" {abs(less):.0f} % {word} than the book says; the program reckons with it."
    return [f"{words} A catch-can test would tell."]


def _cautions(facts: RoundFacts) -> list[str]:
    """What to look out for."""
    found = [*_about_log(facts), *facts.together]
    if facts.cut_short:
        named = stations_words(facts.cut_short).lower()
        found.append(
            f"Station {facts.governing_station} has the sensor but cannot run last: until two station wires"
            f" are exchanged, {named} may be cut short."
        )
    if facts.fragile.size:
        named = stations_words(facts.fragile)
        found.append(
            f"{named} {_verb(facts.fragile, 'uses', 'use')} more between two waterings than the roots can"
            f" reach.{(' ' + facts.threshold_words) if facts.threshold_words else ''}"
        )
    elif facts.threshold_words:
        found.append(facts.threshold_words)
    if facts.own_hours:
        theirs = (
            "it runs in a program of its own" if len(facts.own_hours) == 1 else "they run in one of their own"
        )
        named = stations_words(facts.own_hours).lower()
        found.append(f"The rules give {named} other days or hours than the rest: {theirs}.")
    if facts.barred:
        named = stations_words(facts.barred).lower()
        found.append(f"The rules leave {named} no hour in these weeks: no water is planned there.")
    if facts.is_morning_after:
        found.append("By the rule, the early hours of these days belong to the evening before.")
    if facts.off_days:
        listed = ", ".join(f"{day.day} {day:%B}" for day in facts.off_days)
        found.append(f"Switch the timer off on {listed}: the rules bar that day.")
    if facts.valid_until is not None:
        until = f"{facts.valid_until.day} {facts.valid_until:%B}"
        found.append(f"The watering rules change: from {until} on, the days have to be keyed in anew.")
    return found


def stations_words(numbers: IntArray | tuple[int, ...]) -> str:
    """Stations in words, such as `Stations 2, 3`.

    Parameters
    ----------
    numbers
        Station numbers.
    """
    listed = ", ".join(str(int(number)) for number in sorted(numbers))
    return f"Stations {listed}" if len(numbers) > 1 else f"Station {listed}"


def _verb(numbers: IntArray, one: str, many: str) -> str:
    """The verb that fits the number of stations."""
    return one if len(numbers) == 1 else many
