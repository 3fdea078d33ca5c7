"""One controller with all that its program hangs on, and the same with something changed; nothing is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from sites.calc import landscape, soil
from sites.calc.balance.run_off import runoff_limit_min
from sites.calc.program.apart import Split
from sites.calc.program.days import starts_text
from sites.calc.program.keyed import keyed_lines
from sites.calc.program.letters import best_programs_and_letters
from sites.calc.program.own_hours import OwnHours, in_own_hours
from sites.calc.program.sheet import KeyedLine
from sites.calc.program.slots import breaks_rules
from sites.calc.search.chosen import Chosen
from sites.calc.search.controllers import ControllerTable, RuleCase
from sites.calc.search.learned import Learned, nothing_learned
from sites.calc.search.margin import margins
from sites.calc.search.problem import Problem, problem
from sites.calc.search.score import landscape_need_mm
from sites.calc.search.settings import ProgramSettings
from sites.calc.search.trial import Slots, Trial
from sites.calc.search.weather import Seasons
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import DayArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Garden:
    """One controller, its zones, its rules and its weather.

    Parameters
    ----------
    zones
        Its zones.
    controller
        Its row.
    case
        Days and hours that its rules leave open.
    weather
        Weather of several seasons.
    weather_column, rain_column
        Column of each zone's ET and rain, (zones,).
    depletion_mm
        Depletion at the start [mm], NaN where unknown, (zones,).
    factors
        What visits taught of each zone's demand [1], (zones,).
    settings
        Settings of the round.
    threshold_kpa
        Threshold of the sensor [kPa]; NaN: none known.
    learned
        What the sensor's log taught of the zone that it stands in; None: nothing.
    own, days
        Hours by station where rules part them, and the days of the horizon [datetime64 days]; None: all
        stations have the same hours.
    """

    zones: ZoneTable
    controller: ControllerTable
    case: RuleCase
    weather: Seasons
    weather_column: IntArray
    rain_column: IntArray
    depletion_mm: FloatArray
    factors: FloatArray
    settings: ProgramSettings
    threshold_kpa: float
    learned: Learned | None = None
    own: OwnHours | None = None
    days: DayArray | None = None

    def problem(self) -> Problem:
        """The problem that the search takes."""
        found = np.flatnonzero(self.zones.is_governing & self.controller.is_governed[0])
        governing = found[:1] if found.size else np.array([-1])
        count = len(self.zones)
        learned = self.learned or nothing_learned(1)
        return problem(
            self.zones,
            replace(self.controller, case=np.array([0])),
            (self.case,),
            self.weather,
            weather_column=self.weather_column,
            rain_column=self.rain_column,
            depletion_mm=self.depletion_mm,
            margin=margins(
                self.zones,
                np.full(count, governing[0]),
                self.factors,
                self.settings,
                weight=np.full(count, learned.weight[0]),
                error_variance=np.full(count, learned.error_variance[0]),
            ),
            settings=self.settings,
            use_factor=learned.use_factor(governing, count),
        )

    def breaks_rules(self, given: Problem, slots: Slots) -> bool:
        """Whether a program breaks the rules, each station held against its own."""
        cases, zone_case = ((self.case,), None) if self.own is None else (self.own.cases, self.own.zone_case)
        return bool(breaks_rules(given, slots, cases, zone_case)[0])

    def with_threshold(self, threshold_kpa: float) -> Garden:
        """The garden with another threshold [kPa], above field capacity."""
        return _sensed(replace(self, threshold_kpa=threshold_kpa))

    def with_governing(self, station: int) -> Garden:
        """The garden with the sensor in another station's zone, of which no log tells."""
        moved = replace(self.zones, is_governing=self.zones.station == station)
        return _sensed(replace(self, zones=moved, learned=None))

    def with_heads(self, heads: Mapping[int, str]) -> Garden:
        """The garden with other heads, by station; rates and uniformity are then those of the kind."""
        zones = self.zones
        kind = np.array([
            landscape.HEADS.index(heads[int(station)]) if int(station) in heads else int(head)
            for station, head in zip(zones.station, zones.head, strict=True)
        ])  # fmt: skip
        new = np.isin(zones.station, list(heads)) & (kind != zones.head)
        rate = np.where(new, landscape.precipitation_rate_mm_h(kind), zones.precipitation_rate_mm_h)
        uniformity = np.where(new, landscape.distribution_uniformity(kind), zones.distribution_uniformity)
        return replace(
            self,
            learned=None if (new & zones.is_governing).any() else self.learned,
            zones=replace(
                zones,
                head=kind,
                precipitation_rate_mm_h=rate,
                distribution_uniformity=uniformity,
                application_efficiency=0.4 + 0.6 * uniformity,
                flow_l_min=np.where(new, rate * zones.area_m2 / 60.0, zones.flow_l_min),
                flow_assumed=zones.flow_assumed | new,
                runoff_limit_min=runoff_limit_min(
                    rate, zones.intake_rate_mm_h, zones.surface_accumulation_mm
                ),
                precipitation_rate_assumed=zones.precipitation_rate_assumed | new,
                distribution_uniformity_assumed=zones.distribution_uniformity_assumed | new,
            ),
        )

    def with_case(self, case: RuleCase) -> Garden:
        """The garden under other days and hours, the same for all stations."""
        return replace(self, case=case, own=None)

    def with_timer(self, **columns: float) -> Garden:
        """The garden with another timer: columns of its controller, such as `starts_per_program`."""
        kinds = {name: getattr(self.controller, name).dtype for name in columns}
        new = {name: np.array([value], dtype=kinds[name]) for name, value in columns.items()}
        return replace(self, controller=replace(self.controller, **new))

    def only(self, stations: frozenset[int], *, is_governed: bool) -> Garden:
        """Some stations on a timer of their own, with the sensor or without."""
        mine = np.isin(self.zones.station, list(stations))
        return replace(
            self.with_timer(
                is_governed=is_governed,
                threshold_mm=self.controller.threshold_mm[0] if is_governed else np.nan,
            ),
            zones=self.zones.take(np.flatnonzero(mine)),
            weather_column=self.weather_column[mine],
            rain_column=self.rain_column[mine],
            depletion_mm=self.depletion_mm[mine],
            factors=self.factors[mine],
            own=None,
        )


def _sensed(garden: Garden) -> Garden:
    """The garden with its threshold depletion reckoned anew."""
    at = int(np.flatnonzero(garden.zones.is_governing)[0])
    texture, depth = int(garden.zones.soil[at]), float(garden.zones.root_depth_mm[at])
    if np.isnan(garden.threshold_kpa):
        gone = 0.5 * float(garden.zones.allowed_depletion_mm[at])
    else:
        gone = float(soil.threshold_depletion_mm(texture, garden.threshold_kpa, depth))
    return garden.with_timer(threshold_mm=gone)


@dataclass(frozen=True, slots=True)
class Figures:
    """What a garden's best program does over the four weeks.

    Parameters
    ----------
    adequacy_pct, worst_pct
        Need met, by area and in the worst zone [%].
    worst_station
        Station of that zone.
    dry_days
        Zone-days beyond the allowed depletion [d].
    water_l, lost_l
        Gross water, and what of it is lost [L].
    cost
        What the search weighs: missing need, dry days and losses of the zones, by half area and half alike
        [1]; less is better.
    fits
        Whether every zone gets what is promised within all limits.
    """

    adequacy_pct: float
    worst_pct: float
    worst_station: int
    dry_days: float
    water_l: float
    lost_l: float
    cost: float
    fits: bool

    @property
    def lost_pct(self) -> float:
        """Share of the water that is lost [%]."""
        return 100.0 * self.lost_l / self.water_l if self.water_l > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Answer:
    """A garden's best program: the problem, the program, what it does."""

    given: Problem
    chosen: Chosen
    done: Trial
    figures: Figures
    split: Split | None = None


def best_answer(garden: Garden) -> Answer:
    """The best program of a garden with its figures.

    Parameters
    ----------
    garden
        The garden.
    """
    given = garden.problem()
    chosen, done = best_programs_and_letters(given)
    split = None
    if garden.own is not None and garden.days is not None:
        chosen, done, splits = in_own_hours(given, chosen, done, garden.own, garden.days)
        split = splits.get(0)
    fits = bool(chosen.pattern[0] >= 0 and chosen.overrun_min[0] <= 0)
    return Answer(given, chosen, done, figures(given, done, is_possible=fits), split)


def answer_lines(garden: Garden, answer: Answer) -> tuple[KeyedLine, ...]:
    """Lines of a garden's best program, in the order of keying in; none where nothing may run.

    Parameters
    ----------
    garden
        The garden.
    answer
        Its best program.
    """
    if answer.split is None:
        return keyed_lines(answer.given, answer.chosen, 0, garden.case.choices)
    return tuple(
        KeyedLine(letter.letter, letter.days, starts_text(letter.starts_min), run.station, run.minutes)
        for letter in answer.split.table.letters
        for run in letter.runs
    )


def figures(given: Problem, done: Trial, *, is_possible: bool = True) -> Figures:
    """The figures of one controller's program.

    Parameters
    ----------
    given
        The problem, of one controller.
    done
        What its program does.
    is_possible
        Whether it keeps to all hard limits.
    """
    worst = int(done.adequacy.argmin())
    area = given.zones.area_m2
    return Figures(
        adequacy_pct=100 * float((done.adequacy * area).sum() / area.sum()),
        worst_pct=100 * float(done.adequacy[worst]),
        worst_station=int(given.zones.station[worst]),
        dry_days=float(done.dry_share.sum()) * given.offered.shape[0],
        water_l=float((done.gross_mm * area).sum()),
        lost_l=float((done.lost_mm * area).sum()),
        cost=float((given.weight * _zone_cost(given, done)).sum()),
        fits=is_possible and bool(done.adequacy.min() >= given.settings.promised_adequacy),
    )


def _zone_cost(given: Problem, done: Trial) -> FloatArray:
    """Missing adequacy, dry share beyond its bound and losses per need, as the search weighs them."""
    settings = given.settings
    missing = np.maximum(settings.target_adequacy - done.adequacy, 0.0)
    dry = np.maximum(done.dry_share - settings.most_dry_share, 0.0)
    lost = done.lost_mm / landscape_need_mm(given.truth)
    return settings.shortfall_weight * missing + settings.dry_weight * dry + lost
