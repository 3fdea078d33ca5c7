"""The season page: frost dates and deadlines by location, what is due when, what suppliers ask."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from django.core.paginator import Page, Paginator
from django.db.models import Count

from fleet.calc.visits.season import day_near, freeze_percentile
from fleet.models import BackflowRule, LocationSeason, VisitKind, VisitNeed
from sites.models import Site
from weather.models import Location

ROWS_A_PAGE: Final = 25
WEEKS_SHOWN: Final = 52
LOOK_BACK_DAYS: Final = 28
SEASON_KINDS: Final = (VisitKind.START_UP, VisitKind.BACKFLOW_TEST, VisitKind.WINTERIZE)
SHARES: Final = (10.0, 50.0, 90.0)
DONE_COUNTS_DAYS: Final = 150


@dataclass(frozen=True, slots=True)
class Spread:
    """Early tenth, middle and late tenth as days of the year [d]; None: that is a season without freeze."""

    early: float | None
    middle: float | None
    late: float | None
    with_freeze: int
    seasons: int

    def days(self, today: date) -> tuple[date | None, date | None, date | None]:
        """The three as days near today."""
        return (_near(self.early, today), _near(self.middle, today), _near(self.late, today))


@dataclass(frozen=True, slots=True)
class LocationRow:
    """One location with its frost dates and deadlines."""

    name: str
    elevation_m: float
    sites: int
    season: LocationSeason | None
    light_spring: Spread
    light_autumn: Spread
    hard_spring: Spread
    hard_autumn: Spread
    hard_spring_days: tuple[date | None, date | None, date | None]
    hard_autumn_days: tuple[date | None, date | None, date | None]
    start_up: date | None
    winterize: date | None
    buried: date | None
    open_needs: int
    done: int


@dataclass(frozen=True, slots=True)
class DueWeek:
    """What becomes due in a week: sites by what is to be done."""

    monday: date
    start_ups: int
    tests: int
    winterizations: int

    @property
    def total(self) -> int:
        """All together."""
        return self.start_ups + self.tests + self.winterizations


@dataclass(frozen=True, slots=True)
class SupplierRow:
    """A supplier of the book with its backflow rule; None: nothing is asked."""

    supplier: str
    sites: int
    rule: BackflowRule | None


@dataclass(frozen=True, slots=True)
class SeasonPage:
    """The page."""

    today: date
    page: Page[Location]
    rows: tuple[LocationRow, ...]  # of the page
    weeks: tuple[DueWeek, ...]
    suppliers: tuple[SupplierRow, ...]
    without_dates: int  # sites whose location has no frost dates
    open_by_kind: dict[str, int]
    is_short: bool

    @property
    def missing_words(self) -> str:
        """How many sites have no dates."""
        return f"{self.without_dates} garden{'' if self.without_dates == 1 else 's'} without frost dates."

    @property
    def next_due(self) -> DueWeek | None:
        """The next week, from this one on, in which something is due."""
        this_monday = self.today - timedelta(days=self.today.weekday())
        return next((week for week in self.weeks if week.total and week.monday >= this_monday), None)

    @property
    def busiest(self) -> DueWeek | None:
        """The week in which most is due."""
        return max((week for week in self.weeks if week.total), key=lambda week: week.total, default=None)


def season_page(*, today: date, page: int) -> SeasonPage:
    """Everything of the page, coldest locations (earliest deadline) first."""
    seasons = {row.location_id: row for row in LocationSeason.objects.all()}
    sites = dict(
        Site.objects.filter(location__isnull=False)
        .values_list("location_id")
        .annotate(count=Count("id"))
        .values_list("location_id", "count")
    )
    needs = _needs_by_location(today)
    locations = [row for row in Location.objects.all() if row.pk in sites or row.pk in seasons]
    locations.sort(key=lambda row: (_order(seasons.get(row.pk), today), row.name))
    pages = Paginator(locations, ROWS_A_PAGE)
    shown = pages.get_page(page)
    rows = [_row(one, seasons.get(one.pk), sites.get(one.pk, 0), needs, today) for one in shown.object_list]
    rules = {rule.supplier: rule for rule in BackflowRule.objects.all()}
    return SeasonPage(
        today=today,
        page=shown,
        rows=tuple(rows),
        weeks=_weeks(seasons, sites, rules, today),
        suppliers=_suppliers(rules),
        without_dates=Site.objects.exclude(location_id__in=list(seasons)).count(),
        open_by_kind=_open_by_kind(),
        is_short=any(row.season is not None and row.season.is_short for row in rows),
    )


def _order(season: LocationSeason | None, today: date) -> int:
    """Days to the winterization; locations without one last."""
    if season is None or season.winterize_by is None:
        return 10_000
    return (_next(season.winterize_by, today) - today).days


def _near(number: float | None, today: date) -> date | None:
    """A day of the year as a day, in the year nearest to today."""
    return None if number is None else day_near(round(number), today)


def _next(number: int, today: date) -> date:
    """The next such day that is not long past."""
    return day_near(number, today + timedelta(days=182 - LOOK_BACK_DAYS))


def _spread(season: LocationSeason | None, depth: str, side: str) -> Spread:
    """The tenths of a location's freezes."""
    pairs = [] if season is None else season.freezes.get(depth, {}).get(side, [])
    doys = np.array([np.nan if doy is None else doy for _, doy in pairs], dtype=np.float64)
    numbers = [freeze_percentile(doys, share, is_autumn=side == "autumn") for share in SHARES]
    early, middle, late = (None if number != number else number for number in numbers)
    return Spread(early, middle, late, int(np.isfinite(doys).sum()), len(doys))


def _row(
    location: Location,
    season: LocationSeason | None,
    sites: int,
    needs: dict[str, Counter[int]],
    today: date,
) -> LocationRow:
    """One location."""
    spring, autumn = _spread(season, "hard", "spring"), _spread(season, "hard", "autumn")
    return LocationRow(
        name=location.name,
        elevation_m=location.elevation_m,
        sites=sites,
        season=season,
        light_spring=_spread(season, "light", "spring"),
        light_autumn=_spread(season, "light", "autumn"),
        hard_spring=spring,
        hard_autumn=autumn,
        hard_spring_days=spring.days(today),
        hard_autumn_days=autumn.days(today),
        start_up=_near(season.start_up_from if season else None, today),
        winterize=_near(season.winterize_by if season else None, today),
        buried=_near(season.buried_by if season else None, today),
        open_needs=needs["open"][location.pk],
        done=needs["done"][location.pk],
    )


def _needs_by_location(today: date) -> dict[str, Counter[int]]:
    """Open and lately met needs of the season by location."""
    found: dict[str, Counter[int]] = defaultdict(Counter)
    rows = VisitNeed.objects.filter(kind__in=SEASON_KINDS).values_list(
        "site__location_id", "state", "closed_on"
    )
    for location_id, state, closed_on in rows:
        if state == VisitNeed.State.OPEN:
            found["open"][location_id or 0] += 1
        elif state == VisitNeed.State.DONE and closed_on and (today - closed_on).days <= DONE_COUNTS_DAYS:
            found["done"][location_id or 0] += 1
    return found


def _open_by_kind() -> dict[str, int]:
    """Open needs of the season by kind."""
    rows = VisitNeed.objects.filter(kind__in=SEASON_KINDS, state=VisitNeed.State.OPEN).order_by()
    words = dict(VisitKind.choices)
    counts = rows.values_list("kind").annotate(count=Count("id")).values_list("kind", "count")
    return {words[kind]: count for kind, count in counts}


def _weeks(
    seasons: dict[int, LocationSeason],
    sites: dict[int, int],
    rules: dict[str, BackflowRule],
    today: date,
) -> tuple[DueWeek, ...]:
    """How many sites are due in each week of the year ahead."""
    first = today - timedelta(days=today.weekday() + LOOK_BACK_DAYS)
    tested = _sites_with_test(rules)
    due: dict[str, Counter[date]] = defaultdict(Counter)
    for location_id, season in seasons.items():
        if season.start_up_from is not None:
            monday = _monday(_next(season.start_up_from, today))
            due["start"][monday] += sites.get(location_id, 0)
            due["test"][monday] += tested[location_id]
        if season.winterize_by is not None:
            due["winter"][_monday(_next(season.winterize_by, today))] += sites.get(location_id, 0)
    mondays = [first + timedelta(weeks=number) for number in range(WEEKS_SHOWN + 5)]
    return tuple(
        DueWeek(monday, due["start"][monday], due["test"][monday], due["winter"][monday])
        for monday in mondays
    )


def _sites_with_test(rules: dict[str, BackflowRule]) -> Counter[int]:
    """Sites whose supplier asks for a test before use, by location."""
    asked: Iterable[str] = [name for name, rule in rules.items() if rule.before_use]
    rows = Site.objects.filter(supplier__in=list(asked), location__isnull=False)
    return Counter(rows.values_list("location_id", flat=True))


def _monday(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())


def _suppliers(rules: dict[str, BackflowRule]) -> tuple[SupplierRow, ...]:
    """Suppliers of the book, and those that only have a rule."""
    counts = Counter(Site.objects.exclude(supplier="").values_list("supplier", flat=True))
    names = sorted({*counts, *rules})
    return tuple(SupplierRow(name, counts[name], rules.get(name)) for name in names)
