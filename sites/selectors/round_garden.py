"""One controller with its rules and weather, as the weekly round sees it, for questions of what if."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from sites.calc.program.slots import set_slots
from sites.calc.rules.cases import rule_case
from sites.calc.rules.stages import AddressUnknownError, Stage, Watered
from sites.calc.search.controllers import RuleCase
from sites.calc.search.garden import Garden
from sites.calc.search.learned import Learned
from sites.calc.search.settings import ProgramSettings
from sites.calc.search.trial import Trial, trial
from sites.calc.zone_table import ZoneTable
from sites.models import Controller, Zone
from sites.selectors.balance import balance_days
from sites.selectors.programs_set import program_lines
from sites.selectors.round_inputs import (
    RoundControllers,
    round_controllers,
    watered_by_controller,
)
from sites.selectors.round_weather import pairs_of, past_sky, round_weather
from sites.selectors.rule_books import stages_by_code
from sites.selectors.sensor_logs import learned_by_controller
from sites.selectors.zones import zone_table


@dataclass(frozen=True, slots=True)
class GardenBook:
    """A garden with what its rules and its sheet need.

    Parameters
    ----------
    garden
        The garden as it stands.
    steps_kpa
        Settings that the sensor's unit offers [kPa].
    names
        Names of the zones by station.
    stages
        Stages of its rule set.
    watered
        What it waters, as far as rules ask.
    day_modes
        Day modes of the timer.
    timezone
        Time zone of the site.
    week
        Monday of the first week.
    rules_known
        Whether the watering rules are in the book and the address tells what they ask for.
    """

    garden: Garden
    steps_kpa: tuple[float, ...]
    names: dict[int, str]
    stages: tuple[Stage, ...]
    watered: tuple[Watered, ...]
    day_modes: tuple[str, ...]
    timezone: str
    week: date
    rules_known: bool

    def case(self, stages: tuple[Stage, ...]) -> RuleCase:
        """Days and hours that some stages would leave open; none where a house number lacks."""
        try:
            return rule_case(
                stages,
                self.watered,
                first_day=self.week,
                day_count=self.garden.settings.horizon_days,
                day_modes=self.day_modes,
                timezone=self.timezone,
            )
        except AddressUnknownError:
            return RuleCase(())


def garden_book(
    *, controller_id: int, week: date, today: date, settings: ProgramSettings | None = None
) -> GardenBook | None:
    """A controller's garden; None where it has no zones or no weather.

    Parameters
    ----------
    controller_id
        Which.
    week
        Monday of the first week.
    today
        Day of computing; depletion is that of the day before.
    settings
        Settings of the round; None: the defaults.
    """
    chosen = settings or ProgramSettings()
    row = Controller.objects.select_related("site").get(pk=controller_id)
    table = zone_table(site_ids=[row.site_id])
    table = table.take(np.flatnonzero(table.controller_id == controller_id))
    if len(table) == 0 or table.location_id[0] <= 0:
        return None
    places, gauges, place = pairs_of(table.location_id, table.rain_location_id)
    weather = round_weather(
        location_ids=places, gauge_ids=gauges, week=week, today=today, settings=chosen
    ).seasons
    if not weather.is_known[place[0]]:
        return None
    found = round_controllers(zones=table, week=week, today=today, settings=chosen)
    stages = stages_by_code({row.site.rule_set})
    yesterday = balance_days(zone_ids=table.zone_id, start=today - timedelta(days=1), end=today)
    factors = dict(Zone.objects.filter(controller=row).values_list("pk", "margin_factor"))
    names = dict(Zone.objects.filter(controller=row).values_list("station", "name"))
    garden = Garden(
        zones=table,
        controller=replace(found.table, case=np.array([0])),
        case=found.cases[int(found.table.case[0])],
        weather=weather,
        weather_column=place,
        rain_column=place,
        depletion_mm=np.asarray(yesterday.depletion_mm[0], dtype=np.float64),
        factors=np.array([factors[int(pk)] for pk in table.zone_id]),
        settings=chosen,
        threshold_kpa=float(found.threshold_kpa[0]),
        learned=_learned(table, found, today, chosen),
        own=found.own_hours if (found.own_hours.apart_case >= 0).any() else None,
        days=np.arange(np.datetime64(week), np.datetime64(week) + chosen.horizon_days),
    )
    return GardenBook(
        garden=garden,
        steps_kpa=found.threshold_steps[0],
        names=names,
        stages=stages.get(row.site.rule_set, ()),
        watered=tuple(sorted(watered_by_controller([row], table, stages, week)[row.pk], key=repr)),
        day_modes=tuple(row.day_modes.split(",")),
        timezone=row.site.timezone,
        week=week,
        rules_known=not found.rules_lack[0],
    )


def gardens_of_weeks(*, book: GardenBook, weeks: Sequence[date], today: date) -> list[Garden]:
    """The garden of a book in other weeks: their weather, read at once, and their rules, the strictest.

    Parameters
    ----------
    book
        The garden as it stands.
    weeks
        Mondays.
    today
        Day of computing.
    """
    settings = book.garden.settings
    places, gauges, _ = pairs_of(book.garden.zones.location_id, book.garden.zones.rain_location_id)
    sky = past_sky(location_ids=places, gauge_ids=gauges, weeks=weeks, today=today, settings=settings)
    found = []
    for week in weeks:
        weather = round_weather(
            location_ids=places, gauge_ids=gauges, week=week, today=today, settings=settings, past_days=sky
        ).seasons
        case = replace(book, week=week).case(book.stages) if book.rules_known else RuleCase(())
        found.append(replace(book.garden, weather=weather, case=case, own=None))
    return found


def _learned(table: ZoneTable, found: RoundControllers, today: date, settings: ProgramSettings) -> Learned:
    """What the log of the controller's sensor teaches."""
    governing = np.flatnonzero(table.is_governing & found.table.is_governed[0])
    return learned_by_controller(
        zones=table,
        controller_id=found.table.controller_id,
        governing=governing[:1] if governing.size else np.array([-1]),
        threshold_mm=found.table.threshold_mm,
        today=today,
        settings=settings,
    )


def trial_of_set(book: GardenBook) -> tuple[Trial, bool] | None:
    """What the program as set does over the four weeks, and whether it breaks a rule; None: not known."""
    given = book.garden.problem()
    days = np.arange(np.datetime64(book.week), np.datetime64(book.week) + given.settings.horizon_days)
    slots = set_slots(given, program_lines(controller_ids=given.controllers.controller_id), days)
    if not slots.is_known[0]:
        return None
    return trial(given, slots), book.garden.breaks_rules(given, slots)
