"""Frost dates of every location, kept and renewed each month; and the suppliers' rules for backflow tests."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

import numpy as np
from django.db import transaction
from django.db.models import Min

from fleet.calc.visits.buried_frost import pipe_freezes
from fleet.calc.visits.season import (
    FREEZE_C,
    HARD_FREEZE_C,
    SHORT_SEASONS,
    FreezeSeasons,
    dates_of,
    freeze_percentile,
    freeze_seasons,
)
from fleet.models import BackflowRule, LocationSeason
from sites.services.history import ChangeNote, record_changes
from weather.models import DailyWeather, Location

RENEW_AFTER_DAYS: Final = 30
BURIED_BEFORE_DAYS: Final = 7
RULE_FIELDS: Final = ("before_use", "every_months", "who_may_test", "report_to", "source", "checked_on")


class BadRule(ValueError):
    """A rule that cannot be; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class SeasonsRenewed:
    """Locations whose frost dates were computed, and those whose record is too short."""

    renewed: int
    too_short: int


@dataclass(frozen=True, slots=True)
class RuleSet:
    """A supplier's backflow rule as it stands now."""

    supplier: str
    changed: bool


@transaction.atomic
def renew_seasons(*, day: date) -> SeasonsRenewed:
    """Compute the frost dates of each location that has none, or none of the last thirty days."""
    reach = Location.objects.annotate(first=Min("days__day")).values_list("id", "latitude", "first")
    held = {row.location_id: row for row in LocationSeason.objects.all()}
    renewed = too_short = 0
    for location_id, latitude, first in reach:
        if first is None or first > day - timedelta(days=365 * SHORT_SEASONS):
            too_short += 1
            continue
        old = held.get(location_id)
        is_fresh = old is not None and abs((day - old.computed_on).days) <= RENEW_AFTER_DAYS
        if is_fresh and old is not None and old.first_day == first:
            continue
        values = _season_values(location_id, day=day, is_south=latitude < 0)
        LocationSeason.objects.update_or_create(
            location_id=location_id, defaults={"computed_on": day, "first_day": first, **values}
        )
        renewed += 1
    return SeasonsRenewed(renewed, too_short)


def _season_values(location_id: int, *, day: date, is_south: bool) -> dict[str, object]:
    """Columns of a location's frost dates, from all days before a day."""
    rows = (
        DailyWeather.objects.filter(
            location_id=location_id, kind=DailyWeather.Kind.OBSERVED, day__lt=day, tmin_c__isnull=False
        )
        .order_by("day")
        .values_list("day", "tmin_c", "tmax_c")
    )
    table = list(rows)
    days = np.array([row[0] for row in table], dtype="datetime64[D]")
    tmin = np.array([row[1] for row in table], dtype=np.float64)
    tmax = np.array([np.nan if row[2] is None else row[2] for row in table], dtype=np.float64)
    light = freeze_seasons(days, tmin, threshold_c=FREEZE_C, is_south=is_south)
    hard = freeze_seasons(days, tmin, threshold_c=HARD_FREEZE_C, is_south=is_south)
    dates = dates_of(hard)
    buried = pipe_freezes(days, (tmin + tmax) / 2, years=hard.autumn_years, is_south=is_south)
    early = freeze_percentile(buried, 10.0, is_autumn=True)
    return {
        "freezes": {"light": _told(light), "hard": _told(hard)},
        "start_up_from": dates.start_up_from,
        "winterize_by": dates.winterize_by,
        "buried_by": round(early) - BURIED_BEFORE_DAYS if np.isfinite(early) else None,
        "seasons": dates.seasons,
        "freezing_share": dates.freezing_share,
        "is_short": dates.is_short,
    }


def _told(found: FreezeSeasons) -> dict[str, list[list[int | float | None]]]:
    """Freezes as JSON holds them."""

    def pairs(years: object, doys: object) -> list[list[int | float | None]]:
        both = zip(np.asarray(years).tolist(), np.asarray(doys).tolist(), strict=True)
        return [[year, None if doy != doy else doy] for year, doy in both]

    return {
        "spring": pairs(found.spring_years, found.spring_doy),
        "autumn": pairs(found.autumn_years, found.autumn_doy),
    }


@transaction.atomic
def set_backflow_rule(
    *,
    supplier: str,
    before_use: bool,
    every_months: int | None,
    who_may_test: str,
    report_to: str,
    source: str,
    checked_on: date | None,
    by: str,
    at: datetime,
) -> RuleSet:
    """Note what a supplier asks of backflow assemblies, with history; asking nothing is a rule too."""
    if not supplier.strip():
        raise BadRule("a supplier: the name that the site book uses")
    if every_months is not None and not 1 <= every_months <= 120:
        raise BadRule("months between tests from 1 to 120, or none")
    if (before_use or every_months) and not who_may_test.strip():
        raise BadRule("who may test: in most places only a certified tester")
    values: dict[str, object] = {
        "before_use": before_use,
        "every_months": every_months,
        "who_may_test": who_may_test.strip()[:120],
        "report_to": report_to.strip()[:160],
        "source": source.strip()[:300],
        "checked_on": checked_on,
    }
    row = BackflowRule.objects.select_for_update().filter(supplier=supplier.strip()[:60]).first()
    before = {name: getattr(row, name) for name in RULE_FIELDS} if row is not None else None
    if before == values:
        return RuleSet(supplier, changed=False)
    BackflowRule.objects.update_or_create(supplier=supplier.strip()[:60], defaults=values)
    differing = [name for name in RULE_FIELDS if before is None or before[name] != values[name]]
    note = ChangeNote(
        kind="backflow_rule",
        key=supplier.strip()[:60],
        site_code="",
        before=None if before is None else {name: _plain(before[name]) for name in differing},
        after={name: _plain(values[name]) for name in differing},
    )
    record_changes(notes=[note], by=by, at=at)
    return RuleSet(supplier, changed=True)


def _plain(value: object) -> object:
    """A value as JSON holds it."""
    return value.isoformat() if isinstance(value, date) else value
