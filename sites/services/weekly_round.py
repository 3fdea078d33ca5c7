"""The weekly round: recommended programs of all controllers, held against what is set."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from django.db import transaction

from sites.calc.program.adjust import set_adjusts, with_adjusts
from sites.calc.program.slots import breaks_rules, set_slots
from sites.calc.rules.stages import Stage
from sites.calc.search.binding import binding_limits
from sites.calc.search.problem import problem
from sites.calc.search.round_plan import round_plan
from sites.calc.search.settings import ProgramSettings
from sites.calc.zone_table import ZoneTable
from sites.models import Recommendation, RecommendationLine, Site
from sites.models.choices import ProgramStatus
from sites.selectors.balance import balance_days
from sites.selectors.programs_set import program_lines
from sites.selectors.round_inputs import RoundControllers, round_controllers
from sites.selectors.round_weather import RoundWeather, pairs_of, round_weather
from sites.selectors.zones import zone_table
from sites.services.round_context import context
from sites.services.round_demand import Demand, round_demand
from sites.services.round_rows import recommendation_rows
from weather.calc.arrays import BoolArray, FloatArray, IntArray

CONTROLLERS_AT_ONCE: Final = 240
SITES_AT_ONCE: Final = 1_000
UNDECIDED: Final = (ProgramStatus.RECOMMENDED.value,)


@dataclass(frozen=True, slots=True)
class RoundReport:
    """What the round did: controllers with a program, changes worth making, and those left out with why."""

    controllers: int
    changes: int
    falls_short: int
    nothing_possible: int
    left_out: tuple[tuple[str, str], ...]

    def summary(self) -> str:
        """One line for the end of a command."""
        return (
            f"{self.controllers} controllers, {self.changes} changes worth making, "
            f"{self.falls_short} that fall short, {self.nothing_possible} where none is possible, "
            f"{len(self.left_out)} left out"
        )


class UnknownSites(ValueError):
    """Codes that name no site of the book."""


def weekly_round(
    *,
    week: date,
    today: date,
    price_per_m3: float,
    site_codes: Iterable[str] | None = None,
    settings: ProgramSettings | None = None,
) -> RoundReport:
    """Recompute the recommended program of every controller for a week; decisions that were made stay.

    Parameters
    ----------
    week
        Its Monday.
    today
        Day of computing; depletion is that of the day before.
    price_per_m3
        Price of water, for the money at stake.
    site_codes
        Only these sites; None: all.
    settings
        Settings of the round; None: the defaults.

    Raises
    ------
    UnknownSites
        Where a code names no site of the book.
    """
    chosen = settings or ProgramSettings()
    sites = Site.objects.order_by("code")
    if site_codes is not None:
        wanted = set(site_codes)
        sites = sites.filter(code__in=wanted)
        unknown = wanted - set(sites.values_list("code", flat=True))
        if unknown:
            raise UnknownSites(f"no site of the book: {', '.join(sorted(unknown))}")
    ids = list(sites.values_list("pk", flat=True))
    done, changes, short, nothing, left_out = 0, 0, 0, 0, []
    for left in range(0, len(ids), SITES_AT_ONCE):
        rows, lacking = sites_round(ids[left : left + SITES_AT_ONCE], week, today, price_per_m3, chosen)
        _store(rows, week)
        done += len(rows)
        changes += sum(row.is_change for row, _ in rows)
        short += sum(bool(row.binding_limit) and row.window_used_min is not None for row, _ in rows)
        nothing += sum(row.window_used_min is None for row, _ in rows)
        left_out += lacking
    return RoundReport(done, changes, short, nothing, tuple(left_out))


Rows = list[tuple[Recommendation, list[RecommendationLine]]]


def sites_round(
    site_ids: list[int],
    week: date,
    today: date,
    price_per_m3: float,
    settings: ProgramSettings,
    rules: Mapping[str, tuple[Stage, ...]] | None = None,
    moved_mm: Mapping[int, float] | None = None,
) -> tuple[Rows, list[tuple[str, str]]]:
    """Recommendations of some sites, and (site, reason) of those without; nothing is written.

    `rules` gives stages by rule set in the place of the stored ones, `moved_mm` depletions at the end of
    yesterday by zone [mm].
    """
    table = zone_table(site_ids=site_ids)
    if len(table) == 0:
        return [], []
    located = table.location_id > 0
    lacking = _without(table, ~located)
    table = table.take(located)
    if len(table) == 0:
        return [], lacking
    places, gauges, pair = pairs_of(table.location_id, table.rain_location_id)
    weather = round_weather(location_ids=places, gauge_ids=gauges, week=week, today=today, settings=settings)
    has_weather = weather.seasons.is_known[pair]
    lacking += _without(table, ~has_weather)
    table, pair = table.take(has_weather), pair[has_weather]
    if len(table) == 0:
        return [], lacking
    found = round_controllers(zones=table, week=week, today=today, settings=settings, rules=rules)
    depletion = _depletion_mm(table, today)
    for zone, depth in (moved_mm or {}).items():
        depletion[table.zone_id == zone] = depth
    demand = round_demand(table, found, today, settings)
    rows: Rows = []
    for is_governed in (True, False):
        kind = np.flatnonzero(found.table.is_governed == is_governed)
        for left in range(0, kind.size, CONTROLLERS_AT_ONCE):
            some = kind[left : left + CONTROLLERS_AT_ONCE]
            rows += _chunk(
                some, table, found, weather, pair, depletion, demand, week, today, price_per_m3, settings
            )
    return rows, lacking


def _without(table: ZoneTable, where: BoolArray) -> list[tuple[str, str]]:
    """Site codes without weather to plan with."""
    lacking = np.unique(table.site_id[where]).tolist()
    return [
        (code, "no weather") for code in Site.objects.filter(pk__in=lacking).values_list("code", flat=True)
    ]


def _depletion_mm(table: ZoneTable, today: date) -> FloatArray:
    """Depletion of each zone at the end of yesterday, NaN where the balance does not reach it [mm]."""
    day = today - timedelta(days=1)
    return np.asarray(
        balance_days(zone_ids=table.zone_id, start=day, end=today).depletion_mm[0], dtype=np.float64
    )


def _chunk(
    some: IntArray,
    table: ZoneTable,
    found: RoundControllers,
    weather: RoundWeather,
    pair: IntArray,
    depletion: FloatArray,
    demand: Demand,
    week: date,
    today: date,
    price_per_m3: float,
    settings: ProgramSettings,
) -> Rows:
    """Recommendations of some controllers of one kind."""
    mine = np.isin(table.controller_id, found.table.controller_id[some])
    zones = table.take(mine)
    given = problem(
        zones,
        found.table.take(some),
        found.cases,
        weather.seasons,
        weather_column=pair[mine],
        rain_column=pair[mine],
        depletion_mm=depletion[mine],
        margin=demand.margin[mine],
        settings=settings,
        use_factor=demand.use_factor[mine],
    )
    days = np.arange(np.datetime64(week), np.datetime64(week) + settings.horizon_days)
    lines = program_lines(controller_ids=given.controllers.controller_id)
    now = set_slots(given, lines, days)
    own = found.own_hours.take(some, mine)
    breaks = breaks_rules(given, now, found.cases, own.zone_case)
    plan = round_plan(given, now=now, breaks_rule=breaks, own=own, days=days)
    binding = binding_limits(given, plan.chosen, plan.new)
    plan = with_adjusts(
        plan,
        given,
        now,
        may=~breaks & np.array([not word for word in binding], dtype=np.bool_),
        adjust_now=set_adjusts(given, lines, days[0]),
        cases=found.cases,
        zone_case=own.zone_case,
    )
    of = context(
        given=given,
        plan=plan,
        found=found,
        binding=binding,
        breaks_rule=breaks,
        lines=lines,
        week=week,
        today=today,
        price_per_m3=price_per_m3,
        log_factor=demand.by_controller,
    )
    rows: Rows = []
    for at, controller in enumerate(some):
        place = int(pair[mine][given.first[at]])
        rows.append(
            recommendation_rows(
                of=of,
                at=at,
                controller=int(controller),
                seasons_used=int(weather.seasons.seasons_used[place]),
                short_history=bool(weather.seasons.is_short[place]),
                rain_stood_in_days=int(weather.stood_in_days[place]),
                forecast_days=int(weather.forecast_days[place]),
            )
        )
    return rows


@transaction.atomic
def _store(rows: Rows, week: date) -> None:
    """Write the recommendations of a week; one that somebody decided on is left as it is."""
    controllers = [row.controller_id for row, _ in rows]
    decided = set(
        Recommendation.objects.filter(week=week, controller_id__in=controllers)
        .exclude(status__in=UNDECIDED)
        .values_list("controller_id", flat=True)
    )
    fresh = [(row, lines) for row, lines in rows if row.controller_id not in decided]
    fields = [
        field.name
        for field in Recommendation._meta.concrete_fields
        if field.name not in {"id", "controller", "week", "status", "decided_by", "decided_at", "note"}
    ]
    Recommendation.objects.bulk_create(
        [row for row, _ in fresh],
        batch_size=500,
        update_conflicts=True,
        unique_fields=["controller", "week"],
        update_fields=fields,
    )
    ids = dict(
        Recommendation.objects.filter(week=week, controller_id__in=controllers).values_list(
            "controller_id", "pk"
        )
    )
    own = [ids[row.controller_id] for row, _ in fresh]
    RecommendationLine.objects.filter(recommendation_id__in=own).delete()
    for row, lines in fresh:
        for line in lines:
            line.recommendation_id = ids[row.controller_id]
    RecommendationLine.objects.bulk_create([line for _, lines in fresh for line in lines], batch_size=1_000)
