"""What the season's calendar wants visited today: start-ups, backflow tests, winterizations."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from fleet.calc.visits.season import SeasonDates, day_near
from fleet.calc.visits.settings import VisitSettings
from fleet.models import BackflowRule, VisitKind, VisitNeed
from fleet.selectors.visits.need_sources import (
    SiteFacts,
    cold_nights,
    last_backflow_tests,
    last_done,
    location_seasons,
    site_facts,
    sites_seen_running,
)
from fleet.services.visits.need_wants import skill_of
from fleet.services.visits.wanted import Wanted

WINTERIZE_AHEAD_DAYS: Final = 28
SEASON_WINDOW_DAYS: Final = 30
TEST_AHEAD_DAYS: Final = 21
MADE_DAYS: Final = 120
# A test this long before the start-up still counts for the season.
TEST_COUNTS_DAYS: Final = 90
DAYS_A_MONTH: Final = 30.44


def season_wants(*, day: date, settings: VisitSettings) -> list[Wanted]:
    """Needs of the calendar by each location's own frost dates and each supplier's rules."""
    seasons = location_seasons()
    running = sites_seen_running(year=day.year)
    rules = {rule.supplier: rule for rule in BackflowRule.objects.all()}
    tested = last_backflow_tests() if rules else {}
    nights = cold_nights(day=day)
    made = last_done(kinds=(VisitKind.START_UP, VisitKind.WINTERIZE))
    wants: list[Wanted] = []
    for site in site_facts().values():
        if site.imported_on >= day:
            continue
        dates = seasons.get(site.location_id or 0)
        rule = rules.get(site.supplier)
        if rule is not None:
            wants += _backflow(day, settings, site, dates, rule, tested.get(site.site_id))
        if dates is not None:
            found = [
                *_start_up(day, settings, site, dates, rule, is_running=site.site_id in running),
                *_winterize(day, settings, site, dates, nights.get(site.location_id or 0)),
            ]
            wants += [one for one in found if not _is_made(made.get((site.site_id, one.kind)), day)]
    return wants


def _is_made(last: date | None, day: date) -> bool:
    """Whether a visit of this season did it already, whoever had asked for it."""
    return last is not None and (day - last).days <= MADE_DAYS


def _start_up(
    day: date,
    settings: VisitSettings,
    site: SiteFacts,
    dates: SeasonDates,
    rule: BackflowRule | None,
    *,
    is_running: bool,
) -> list[Wanted]:
    """Start-up, from the day on which nine of ten years have seen their last hard freeze."""
    if dates.start_up_from is None or is_running:
        return []
    begin = day_near(dates.start_up_from, day)
    if not begin <= day <= begin + timedelta(days=SEASON_WINDOW_DAYS):
        return []
    how = (
        f"the latest hard freeze of {dates.seasons} seasons is a week past"
        if dates.is_short
        else "in nine of ten years the last hard freeze here is over"
    )
    if rule is not None and rule.before_use:
        tail = f"The supplier asks for a backflow test before the water goes on: by {rule.who_may_test}."
    else:
        tail = "Have the backflow assembly tested first where the supplier asks for it."
    reason = f"Spring start-up: {how} by {begin.isoformat()}. {tail}"
    return [_seasonal(site, VisitKind.START_UP, begin.year, reason, settings.calendar_per_day)]


def _winterize(
    day: date, settings: VisitSettings, site: SiteFacts, dates: SeasonDates, night: tuple[date, float] | None
) -> list[Wanted]:
    """Winterization, four weeks ahead of the early hard freeze; urgent in the last two, overdue after."""
    if dates.winterize_by is None:
        return []
    deadline = day_near(dates.winterize_by, day)
    left = (deadline - day).days
    # A cold night is foretold: whatever the calendar says, in the half year around it.
    is_cold = night is not None and left <= 60
    if not -SEASON_WINDOW_DAYS <= left <= WINTERIZE_AHEAD_DAYS and not (is_cold and left > 0):
        return []
    late = settings.season_late_factor
    value = settings.calendar_per_day * (
        1 if left > 14 else settings.season_soon_factor if left >= 0 else late
    )
    how = (
        f"the earliest of only {dates.seasons} autumns had its hard freeze two weeks later"
        if dates.is_short
        else "in one of ten years a hard freeze comes a week later"
    )
    reason = f"Winterize by {deadline.isoformat()}: {how}. Above-ground assemblies first."
    if is_cold and night is not None:
        value = settings.calendar_per_day * late
        reason = f"A night of {night[1]:.0f} °C is foretold for {night[0].isoformat()}. {reason}"
    return [_seasonal(site, VisitKind.WINTERIZE, deadline.year, reason, value)]


def _backflow(
    day: date,
    settings: VisitSettings,
    site: SiteFacts,
    dates: SeasonDates | None,
    rule: BackflowRule,
    last: date | None,
) -> list[Wanted]:
    """A test of the backflow assembly, where the supplier asks for one and none counts any more."""
    filed = f" The report goes to {rule.report_to}." if rule.report_to else ""
    by = f"Only {rule.who_may_test} may do it.{filed}"
    if rule.before_use and dates is not None and dates.start_up_from is not None:
        begin = day_near(dates.start_up_from, day)
        opens = begin - timedelta(days=TEST_AHEAD_DAYS)
        counts = last is not None and last >= begin - timedelta(days=TEST_COUNTS_DAYS)
        if opens <= day <= begin + timedelta(days=SEASON_WINDOW_DAYS) and not counts:
            reason = (
                f"Backflow test before the water goes on: {rule.supplier} asks for it each season; start-ups "
                f"here begin {begin.isoformat()}. {by}"
            )
            key = str(begin.year)
            return [_seasonal(site, VisitKind.BACKFLOW_TEST, key, reason, settings.calendar_per_day)]
    if rule.every_months:
        due = None if last is None else last + timedelta(days=round(rule.every_months * DAYS_A_MONTH))
        if due is None or due <= day + timedelta(days=SEASON_WINDOW_DAYS):
            since = "no test is on record" if last is None else f"the last one was on {last.isoformat()}"
            reason = (
                f"Backflow test: {rule.supplier} asks for one every {rule.every_months} months, and {since}. "
                f"{by}"
            )
            key = "none" if last is None else f"after-{last.isoformat()}"
            return [_seasonal(site, VisitKind.BACKFLOW_TEST, key, reason, settings.calendar_per_day)]
    return []


def _seasonal(site: SiteFacts, kind: VisitKind, season: int | str, reason: str, value: float) -> Wanted:
    """A need of the season's calendar, once a season."""
    return Wanted(
        site_id=site.site_id,
        controller_id=None,
        kind=kind,
        origin=VisitNeed.Origin.CALENDAR,
        key=f"{kind}/{site.code}/{season}",
        reason=reason,
        value_parts={"priority": value},
        skill=skill_of(kind),
    )
