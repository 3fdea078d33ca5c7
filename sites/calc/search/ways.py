"""Ways out where the best program falls short: what could be changed, and what each change would bring.

Every way is tried: the search runs again on the garden with that one thing changed. They stand in the order
that the trade prefers: a setting before a visit, a visit before a dig, a dig before a new timer.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from sites.calc import landscape, soil
from sites.calc.program.patterns import Block, DayChoice
from sites.calc.program.two_at_once import two_at_once
from sites.calc.search.controllers import RuleCase
from sites.calc.search.garden import Answer, Figures, Garden, best_answer
from sites.calc.search.score import needs_own_letter
from sites.calc.search.threshold import fragile_zones
from sites.calc.search.way import LEAST_DRY_DAYS, LEAST_WORTH, Way

_LEAST_MM: Final = 1.5
_SLOW_HEAD: Final = "rotary_nozzle"
_ALL_DAY_MIN: Final = 1440


def ways_out(garden: Garden, best: Answer, steps_kpa: Sequence[float]) -> tuple[Way, ...]:
    """Changes that make a garden's best program fit, or spare it dry days; those that fit stand first.

    Where the best program fits and a zone goes dry all the same between two waterings, only gains count.

    Parameters
    ----------
    garden
        The garden.
    best
        Its best program as things stand.
    steps_kpa
        Settings that the sensor's unit offers [kPa]; none: not known.
    """
    found = [
        way
        for way in _tried(garden, best, steps_kpa)
        if way.verdict == "enough" or (way.dry_days_spared >= LEAST_DRY_DAYS and _may_count(way))
    ]
    # The order of the trade among those that fit; of the others, what gains nothing stands last.
    return tuple(sorted(found, key=lambda way: (not way.after.fits, way.verdict == "no gain")))


def _may_count(way: Way) -> bool:
    """Whether a way that makes nothing fit may be shown: it never breaks what fits, and then it gains."""
    return not way.before.fits or (way.after.fits and way.worth > LEAST_WORTH)


def _tried(garden: Garden, best: Answer, steps_kpa: Sequence[float]) -> Iterator[Way]:
    """Every way that the garden has, tried, in the order of preference."""
    if garden.controller.is_governed[0]:
        yield from _thresholds(garden, best, steps_kpa)
        yield from _places(garden, best)
        yield from _order(garden, best)
    yield from _heads(garden, best)
    yield from _more_starts(garden, best)
    yield from _two_at_once(garden, best)
    yield from _hours(garden, best)
    yield from _days(garden, best)
    if garden.controller.is_governed[0]:
        yield from _second(garden, best)


def _way(
    key: str, words: str, needs: str, best: Answer, garden: Garden, values: tuple[tuple[str, str], ...] = ()
) -> Way:
    """A way with what it brings."""
    return Way(key, words, needs, values, best.figures, best_answer(garden).figures)


def _thresholds(garden: Garden, best: Answer, steps_kpa: Sequence[float]) -> Iterator[Way]:
    """The mildest wetter setting that fits, else the one that gains the most."""
    if np.isnan(garden.threshold_kpa):
        return
    zone = int(best.given.governing[0])
    texture, depth = int(garden.zones.soil[zone]), float(garden.zones.root_depth_mm[zone])
    tried = []
    for step in sorted(steps_kpa, reverse=True):
        if not soil.FIELD_CAPACITY_KPA < step < garden.threshold_kpa:
            continue
        if float(soil.threshold_depletion_mm(texture, step, depth)) < _LEAST_MM:
            continue
        tried.append(
            _way(
                "threshold",
                f"Set the threshold wetter, {garden.threshold_kpa:g} to {step:g} kPa, one step at a time.",
                "a visit, at the sensor’s unit",
                best,
                garden.with_threshold(step),
                (("threshold", f"{step:g}"),),
            )
        )
        if tried[-1].after.fits:
            break
    if tried:
        yield tried[-1] if tried[-1].after.fits else max(tried, key=lambda way: way.worth)


def _places(garden: Garden, best: Answer) -> Iterator[Way]:
    """The zone in which the sensor would leave the fewest dry days, where that is another one."""
    own = int(garden.zones.station[best.given.governing[0]])
    _, share = fragile_zones(best.given)
    ease = garden.zones.allowed_depletion_mm / garden.zones.landscape_coefficient
    # Worth trying: the most fragile zones, where a sensor speaks for what suffers first.
    order = [int(garden.zones.station[at]) for at in np.argsort(ease) if share[at] > 0][:3]
    tried = [
        _way(
            "place",
            f"Put the sensor into station {station}’s zone: with it there, the others dry out least.",
            "a dig, with the buried lines located first",
            best,
            garden.with_governing(station),
            (("governing", str(station)),),
        )
        for station in order
        if station != own
    ]
    if tried:
        yield max(tried, key=lambda way: (way.after.fits, way.worth))


def _order(garden: Garden, best: Answer) -> Iterator[Way]:
    """The sensor's station last by exchanged wires, so that no letter is spent on it."""
    if needs_own_letter(best.given)[0] or not _closes_pass(garden, best):
        yield _way(
            "order",
            "Exchange two station wires at the timer, so that the sensor’s station runs last.",
            "a visit, 24 V side only, transformer unplugged",
            best,
            garden.with_timer(has_free_order=True),
        )


def _closes_pass(garden: Garden, best: Answer) -> bool:
    """Whether nothing runs behind the sensor's station, or the sensor does not mind."""
    own = garden.zones.station[best.given.governing[0]]
    free = bool(garden.controller.has_free_order[0]) or not bool(garden.controller.stops_midway[0])
    return free or bool(own == garden.zones.station.max())


def _heads(garden: Garden, best: Answer) -> Iterator[Way]:
    """Slower heads where the run-off limit of sprays is what a zone is short of."""
    spray = landscape.HEADS.index("fixed_spray")
    short = best.done.adequacy < best.given.settings.promised_adequacy
    capped = best.chosen.minutes >= best.given.cap_min - best.given.controllers.minute_step[0]
    stations = garden.zones.station[short & capped & (garden.zones.head == spray)]
    if stations.size == 0:
        return
    listed = ", ".join(str(int(station)) for station in stations)
    yield _way(
        "heads",
        f"Exchange the sprays of station {listed} for rotary nozzles: the soil is too fine for their rate.",
        "a visit with parts; coverage checked afterwards",
        best,
        garden.with_heads({int(station): _SLOW_HEAD for station in stations}),
        tuple((f"head{int(station)}", _SLOW_HEAD) for station in stations),
    )


def _more_starts(garden: Garden, best: Answer) -> Iterator[Way]:
    """A timer with more starts and letters, where the present one has few."""
    if garden.controller.starts_per_program[0] >= 8 and garden.controller.program_count[0] >= 3:
        return
    yield _way(
        "starts",
        "Put in a timer with eight starts a program and four programs.",
        "a quote that the customer approves",
        best,
        garden.with_timer(starts_per_program=8, program_count=4),
    )


def _two_at_once(garden: Garden, best: Answer) -> Iterator[Way]:
    """Two stations at once, where one after the other does not fit the hours, with the flow it takes."""
    table = garden.controller
    may_already = table.stations_at_once[0] >= 2 and np.isfinite(table.flow_limit_l_min[0])
    other = None if may_already or best.chosen.overrun_min[0] <= 0 else two_at_once(garden)
    if other is None:
        return
    needed = float(other.controller.flow_limit_l_min[0])
    yield _way(
        "together",
        f"Run two stations at once: the supply has to give {needed:.0f} L/min, measured at the meter, and the"
        " timer to run two programs at the same time.",
        "a visit that measures flow; mains and pressure by local codes and licensed practice",
        best,
        other,
        (("at_once", "2"),),
    )


def _hours(garden: Garden, best: Answer) -> Iterator[Way]:
    """All hours of the same days."""
    if not garden.case.choices:
        return
    yield _way(
        "hours",
        "Ask for longer hours on the same days.",
        "the supplier’s leave, in writing",
        best,
        garden.with_case(_case_of(garden.case, all_hours=True)),
        (("opens", "00:00"), ("closes", "23:59")),
    )


def _days(garden: Garden, best: Answer) -> Iterator[Way]:
    """Every second day, else every day, in the same hours."""
    if not garden.case.choices:
        return
    for every, words in ((2, "every other day"), (1, "every day")):
        way = _way(
            "days",
            f"Ask for leave to water {words}, in the same hours.",
            "the supplier’s leave, in writing",
            best,
            garden.with_case(_case_of(garden.case, every=every)),
            (("days", "other" if every == 2 else "every"),),
        )
        if way.after.fits or every == 1:
            yield way
            return


def _case_of(case: RuleCase, *, all_hours: bool = False, every: int = 0) -> RuleCase:
    """The case with all hours open on its days, or with days so many apart in its hours."""
    choices = list(case.choices)
    if every:
        widest = max(choices, key=lambda choice: max(b.closes_min - b.opens_min for b in choice.blocks))
        runs = np.arange(len(widest.runs)) % every == 0
        choices = [DayChoice(widest.pattern, runs, widest.blocks, (), widest.valid_days)]
    if all_hours:
        choices = [replace(choice, blocks=(Block(0, _ALL_DAY_MIN),)) for choice in choices]
    return replace(case, choices=tuple(choices))


def _second(garden: Garden, best: Answer) -> Iterator[Way]:
    """The zones that the sensor does not speak for, on a timer of their own by the clock."""
    given = best.given
    governing = int(given.governing[0])
    fragile, _ = fragile_zones(given)
    apart = fragile & (best.done.dry_share > given.settings.most_dry_share)
    if not apart.any() or apart.all() or apart[governing]:
        return
    stations = {int(station) for station in garden.zones.station[apart]}
    rest = {int(station) for station in garden.zones.station[~apart]}
    both = (
        best_answer(garden.only(frozenset(rest), is_governed=True)),
        best_answer(garden.only(frozenset(stations), is_governed=False)),
    )
    area = [float(one.given.zones.area_m2.sum()) for one in both]
    worst = min(both, key=lambda one: one.figures.worst_pct).figures
    listed = ", ".join(str(station) for station in sorted(stations))
    yield Way(
        "second",
        f"Give station {listed} a timer of its own: the sensor does not speak for it.",
        "a quote that the customer approves",
        (),
        best.figures,
        Figures(
            adequacy_pct=sum(one.figures.adequacy_pct * size for one, size in zip(both, area, strict=True))
            / sum(area),
            worst_pct=worst.worst_pct,
            worst_station=worst.worst_station,
            dry_days=sum(one.figures.dry_days for one in both),
            water_l=sum(one.figures.water_l for one in both),
            lost_l=sum(one.figures.lost_l for one in both),
            cost=sum(
                one.figures.cost * (0.5 * size / sum(area) + 0.5 * len(one.given.owner) / len(given.owner))
                for one, size in zip(both, area, strict=True)
            ),
            fits=all(one.figures.fits for one in both),
        ),
    )
