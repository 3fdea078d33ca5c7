"""The weekly round's page: which programs change, what is at stake, and what was decided."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.core.paginator import Page, Paginator
from django.db.models import Count, F, Q, QuerySet, Sum
from django.db.models.expressions import OrderBy
from django.db.models.functions import Abs

from fleet.selectors.choice import Choice
from sites.models import Controller, ProgramLine, ProgramSet, Recommendation
from sites.models.choices import ProgramStatus

PAGE_SIZE: Final = 40
# Filter -> (word, condition).
FILTERS: Final[dict[str, tuple[str, Q]]] = {
    "decide": ("To decide", Q(is_change=True, status=ProgramStatus.RECOMMENDED)),
    "accepted": ("Accepted", Q(status=ProgramStatus.ACCEPTED)),
    "held": ("Held", Q(status=ProgramStatus.HELD)),
    "keyed_in": ("Keyed in", Q(status=ProgramStatus.KEYED_IN)),
    "by_hand": ("By hand", Q(is_by_hand=True)),
    "short": ("Fall short", ~Q(binding_limit="") & Q(window_used_min__isnull=False)),
    "none": ("None possible", Q(window_used_min__isnull=True)),
    "frozen": ("Frozen", Q(controller__site__program_frozen=True)),
    "small": ("Too small to matter", Q(is_change=False)),
}
KINDS: Final[dict[str, tuple[str, Q]]] = {
    "": ("all timers", Q()),
    "governed": ("with a sensor", Q(controller__governed=True)),
    "clock": ("by the clock", Q(controller__governed=False)),
}
ORDERS: Final[dict[str, str]] = {
    "water": "most water at stake",
    "dry": "most dry days spared",
    "money": "most money at stake",
    "site": "site",
}
YEAR: Final = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class RoundAsked:
    """What the page is asked for, already read; unknown words have become the first of their list."""

    show: str = "decide"
    kind: str = ""
    order: str = "water"
    words: str = ""
    page: int = 1


@dataclass(frozen=True, slots=True)
class RoundTotals:
    """Sums of a week over the programs that are worth changing."""

    programs: int
    changes: int
    litres_change: float  # new less now
    dry_days_spared: float
    money: float

    @property
    def litres_saved(self) -> float:
        """Litres that the changes save; below 0 where they use more [L]."""
        return -self.litres_change


@dataclass(frozen=True, slots=True)
class Together:
    """The newest decision on several programs at once: accepted or held, how many, by whom and when."""

    status: str
    count: int
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class RoundPage:
    """One page of the list. `week` is None where no round ran yet."""

    week: date | None
    weeks: tuple[date, ...]
    totals: RoundTotals
    choices: tuple[Choice, ...]
    page: Page[Recommendation]
    most_minutes: float
    settings_a_year: float | None
    together: Together | None = None


def newest_week() -> date | None:
    """The newest week with a round."""
    return Recommendation.objects.order_by("-week").values_list("week", flat=True).first()


def asked_rows(*, week: date | None, asked: RoundAsked) -> QuerySet[Recommendation]:
    """Recommendations of a week that answer the filter, the kind and the words."""
    rows = _named(_of_week(week), asked)
    return rows.filter(FILTERS[asked.show][1])


def waiting_ids(*, week: date | None, asked: RoundAsked) -> Iterable[int]:
    """Ids of the programs on all pages of the list that wait for a decision."""
    rows = asked_rows(week=week, asked=asked).filter(status=ProgramStatus.RECOMMENDED, is_change=True)
    return rows.values_list("pk", flat=True)


def round_page(*, week: date | None, asked: RoundAsked) -> RoundPage:
    """Recommendations of a week under a filter, in the order asked for."""
    everything = _of_week(week)
    named = _named(everything, asked)
    counts = named.aggregate(**{key: Count("pk", filter=test) for key, (_, test) in FILTERS.items()})
    shown = (
        named.filter(FILTERS[asked.show][1])
        .select_related("controller__site")
        .prefetch_related("lines")
        .order_by(*_ordered(asked.order), "controller__site__code", "controller__code")
    )
    listed = Paginator(shown, PAGE_SIZE).get_page(asked.page)
    minutes = [value for row in listed for value in (row.minutes_now, row.minutes_new) if value is not None]
    weeks = Recommendation.objects.order_by("-week").values_list("week", flat=True).distinct()[:12]
    return RoundPage(
        week=week,
        weeks=tuple(weeks),
        totals=_totals(everything),
        choices=tuple(Choice(key, word, counts[key]) for key, (word, _) in FILTERS.items()),
        page=listed,
        most_minutes=max(minutes, default=1.0),
        settings_a_year=_settings_a_year(week),
        together=_together(everything),
    )


def settings_of_year(*, controller_id: int, day: date) -> tuple[int, int]:
    """Settings of a controller in the year before a day: all, and those that changed more than the adjust."""
    sets = list(
        ProgramSet.objects.filter(controller_id=controller_id, as_of__lte=day)
        .order_by("as_of")
        .values_list("pk", "as_of")
    )
    rows: dict[int, list[tuple[object, ...]]] = {pk: [] for pk, _ in sets}
    for line in ProgramLine.objects.filter(program_set_id__in=list(rows)).values_list(
        "program_set_id", "letter", "days", "starts", "station", "run_min"
    ):
        rows[line[0]].append(tuple(line[1:]))
    total, changed, before = 0, 0, None
    for pk, as_of in sets:
        now = sorted(rows[pk], key=repr)
        if as_of > day - YEAR and before is not None:
            total += 1
            changed += now != before
        before = now
    return total, changed


def _of_week(week: date | None) -> QuerySet[Recommendation]:
    """Recommendations of a week; none where there is no week."""
    return Recommendation.objects.filter(week=week) if week else Recommendation.objects.none()


def _named(rows: QuerySet[Recommendation], asked: RoundAsked) -> QuerySet[Recommendation]:
    """Those of a kind whose site answers the words."""
    rows = rows.filter(KINDS[asked.kind][1])
    for word in asked.words.split()[:5]:
        rows = rows.filter(
            Q(controller__site__code__icontains=word)
            | Q(controller__site__name__icontains=word)
            | Q(controller__site__address__icontains=word)
            | Q(controller__site__customer__icontains=word)
            | Q(controller__site__supplier__icontains=word)
            | Q(controller__site__soil__icontains=word)
            | Q(binding_limit__icontains=word)
        )
    return rows


def _ordered(order: str) -> list[OrderBy]:
    """Columns of an order."""
    columns: dict[str, list[OrderBy]] = {
        "water": [Abs("water_at_stake_l").desc()],
        "dry": [F("dry_zone_days_spared").desc()],
        "money": [Abs("money_at_stake").desc()],
    }
    return columns.get(order, [])


def _settings_a_year(week: date | None) -> float | None:
    """Settings keyed into a controller over the year before the week, seasonal adjust included; mean."""
    controllers = Controller.objects.count()
    if week is None or not controllers:
        return None
    return ProgramSet.objects.filter(as_of__gt=week - YEAR, as_of__lte=week).count() / controllers


def _together(rows: QuerySet[Recommendation]) -> Together | None:
    """The newest decision that took several programs at once and still stands."""
    decided = rows.filter(
        status__in=(ProgramStatus.ACCEPTED, ProgramStatus.HELD), decided_at__isnull=False
    ).order_by()
    newest = (
        decided.values_list("status", "decided_by", "decided_at")
        .annotate(count=Count("pk"))
        .filter(count__gt=1)
        .order_by("-decided_at")
        .first()
    )
    return Together(newest[0], newest[3], newest[1], newest[2]) if newest is not None else None


def _totals(rows: QuerySet[Recommendation]) -> RoundTotals:
    """Sums over the changes."""
    sums = rows.filter(is_change=True).aggregate(
        changes=Count("pk"),
        litres=Sum("water_at_stake_l"),
        dry=Sum("dry_zone_days_spared"),
        money=Sum("money_at_stake"),
    )
    return RoundTotals(
        programs=rows.count(),
        changes=sums["changes"],
        litres_change=-(sums["litres"] or 0.0),
        dry_days_spared=sums["dry"] or 0.0,
        money=sums["money"] or 0.0,
    )
