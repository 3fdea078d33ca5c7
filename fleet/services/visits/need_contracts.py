"""Visits that service contracts include and that are due: raised with what waiting for them costs."""

from __future__ import annotations

from datetime import date

from fleet.calc.visits.contract_due import day_words, due_window, included_visit_value, included_words
from fleet.calc.visits.contracts import RAISED_KINDS, ContractYear, contract_year
from fleet.calc.visits.season import SeasonDates, day_of_year
from fleet.calc.visits.settings import VisitSettings
from fleet.models import ServiceContract, VisitKind, VisitNeed
from fleet.selectors.visits.contracts import contract_uses
from fleet.selectors.visits.need_sources import (
    SiteFacts,
    last_done,
    location_seasons,
    site_facts,
    sites_seen_running,
)
from fleet.services.visits.need_wants import skill_of
from fleet.services.visits.wanted import Wanted, rounded_parts

Season = list[tuple[date, date]]


def contract_wants(*, day: date, settings: VisitSettings) -> list[Wanted]:
    """The next visit of each kind that a running contract includes, once it is due.

    Only one of a kind is wanted at a time. Nothing is wanted where a person asked for the same kind of visit
    already: that visit will count.
    """
    contracts = list(ServiceContract.objects.filter(starts_on__lte=day, ends_on__gt=day).order_by("site_id"))
    if not contracts:
        return []
    years = {one.pk: contract_year(day, one.starts_on, one.ends_on) for one in contracts}
    uses = contract_uses(years=years, contracts=contracts)
    sites, seasons = site_facts(), location_seasons()
    running = sites_seen_running(year=day.year)
    made = last_done(kinds=RAISED_KINDS)
    asked = set(
        VisitNeed.objects.filter(
            state=VisitNeed.State.OPEN, origin__in=VisitNeed.BY_PEOPLE, kind__in=RAISED_KINDS
        ).values_list("site_id", "kind")
    )
    wants: list[Wanted] = []
    for one in contracts:
        site, year = sites[one.site_id], years[one.pk]
        if site.imported_on >= day:
            continue
        season = seasons_around(seasons.get(site.location_id or 0), year)
        for use in uses[one.pk].kinds:
            is_out = use.kind not in RAISED_KINDS or not use.left or (site.site_id, use.kind) in asked
            if is_out or (use.kind == VisitKind.START_UP and site.site_id in running):
                continue
            paid = one.price / max(1, uses[one.pk].included)
            last = made.get((site.site_id, use.kind))
            want = _want(
                site, use.kind, (use.used + 1, use.included), year, season, day, last, paid, settings
            )
            wants += [want] if want is not None else []
    return wants


def seasons_around(dates: SeasonDates | None, year: ContractYear) -> Season:
    """Seasons of a location around a contract's year; none where its record cannot tell them."""
    if dates is None or dates.start_up_from is None or dates.winterize_by is None:
        return []
    span = range(year.start.year - 1, year.end.year + 2)
    return [(day_of_year(y, dates.start_up_from), day_of_year(y, dates.winterize_by)) for y in span]


def _want(
    site: SiteFacts,
    kind: str,
    number: tuple[int, int],
    year: ContractYear,
    season: Season,
    day: date,
    last: date | None,
    paid: float,
    settings: VisitSettings,
) -> Wanted | None:
    """One included visit, where it is due."""
    window = due_window(kind, *number, year, season, day, last)
    if window is None or not window.opens <= day < window.closes:
        return None
    value = included_visit_value(paid, (window.closes - day).days, settings.contract_per_day)
    due = "was due" if window.due_by < day else "due"
    return Wanted(
        site_id=site.site_id,
        controller_id=None,
        kind=kind,
        origin=VisitNeed.Origin.CONTRACT,
        key=f"contract/{site.code}/{kind}/{year.start.isoformat()}/{number[0]}",
        reason=f"{included_words(kind, *number, year.last_day)}; {due} by {day_words(window.due_by)}.",
        value_parts=rounded_parts({"contract": value}),
        skill=skill_of(kind),
    )
