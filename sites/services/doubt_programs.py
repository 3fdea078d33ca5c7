"""Whether the weekly round would answer otherwise if a day of weather were wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sites.calc.search.settings import ProgramSettings
from sites.models import Controller, Recommendation, RecommendationLine
from sites.services.weather_doubt import MovedSite
from sites.services.weekly_round import sites_round

Lines = tuple[tuple[str, str, str, int, float, int], ...]


@dataclass(frozen=True, slots=True)
class ProgramMove:
    """What the round would say of a site's controllers, now and then.

    Parameters
    ----------
    controllers, changed
        Controllers of the site, and those whose program or its urgency would be another.
    minutes_week, minutes_week_then
        Minutes a week of all its programs as recommended now and then [min]; None: none can be issued.
    """

    controllers: int
    changed: int
    minutes_week: float | None
    minutes_week_then: float | None


def moved_programs(
    *, sites: Sequence[MovedSite], last_day: date, price_per_m3: float
) -> dict[int, ProgramMove]:
    """Run the round for some sites twice, with the depletions as stored and as they would be; writes nothing.

    Parameters
    ----------
    sites
        Sites that would move.
    last_day
        Day of the depletions; the round is that of the day after.
    price_per_m3
        Price of water.
    """
    if not sites:
        return {}
    today = last_day + timedelta(days=1)
    week = today - timedelta(days=today.weekday())
    ids = [site.site_id for site in sites]
    moved = {zone: depth for site in sites for zone, depth in site.zones_then_mm.items()}
    now, then = (
        {
            row.controller_id: (row, lines)
            for row, lines in sites_round(ids, week, today, price_per_m3, ProgramSettings(), moved_mm=depths)[
                0
            ]
        }
        for depths in ({}, moved)
    )
    owner = dict(Controller.objects.filter(pk__in=list(now)).values_list("pk", "site_id"))
    return {
        pk: _move([(now[one], then[one]) for one, site in owner.items() if site == pk and one in then])
        for pk in ids
    }


Answer = tuple[Recommendation, list[RecommendationLine]]


def _move(pairs: Sequence[tuple[Answer, Answer]]) -> ProgramMove:
    """The two answers of one site's controllers."""
    changed = sum(
        (_keyed(now[1]), now[0].is_change) != (_keyed(then[1]), then[0].is_change) for now, then in pairs
    )
    return ProgramMove(
        controllers=len(pairs),
        changed=changed,
        minutes_week=_minutes([now for now, _ in pairs]),
        minutes_week_then=_minutes([then for _, then in pairs]),
    )


def _minutes(answers: Sequence[Answer]) -> float | None:
    """Minutes a week of all programs, None where none was issued."""
    known = [row.minutes_new for row, _ in answers if row.minutes_new is not None]
    return sum(known) if known else None


def _keyed(lines: Sequence[RecommendationLine]) -> Lines:
    """What would be keyed in."""
    return tuple(
        sorted(
            (one.letter, one.days, one.starts, one.station, float(one.run_min), one.run_order)
            for one in lines
        )
    )
