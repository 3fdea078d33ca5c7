"""The watch's list and the evidence of one controller."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

import numpy as np
from django.core.paginator import Page, Paginator
from django.db.models import Count, ExpressionWrapper, F, FloatField, Max, Min, Q, QuerySet, Sum

from fleet.calc.on_site.checks import BY_CAUSE
from fleet.calc.watch.parts import PARTS
from fleet.calc.watch.settings import CAUSES
from fleet.models import Cause, Flag, User, WatchHabit, WatchState, WatchStatus
from fleet.selectors.choice import Choice
from fleet.selectors.site.access import sites_for
from fleet.selectors.watch.expect import Expected, expected_readings
from sites.charts import WaterStack, water_stack_svg
from sites.models import Zone
from sites.selectors.zones import zone_table
from sites.start_ticks import StartsRow
from weather.calc.units import mm_to_inches

PAGE_SIZE: Final = 40
PEERS: Final = 8


@dataclass(frozen=True, slots=True)
class WatchList:
    """One page of states, the most water at stake first."""

    as_of: date | None
    flags: int
    watched: int
    litres_at_stake: float
    choices: tuple[Choice, ...]
    page: Page[WatchState]


@dataclass(frozen=True, slots=True)
class Habit:
    """What an earlier season taught of the garden, as the watch used it.

    Parameters
    ----------
    use_on_book, threshold_on_book
        Use over dose, and depletion at the threshold, as factors on the book's [1].
    as_of
        Last day of that season; None where newer ones have taken its place.
    seen_days
        Its days with counts [d].
    """

    use_on_book: float
    threshold_on_book: float
    as_of: date | None
    seen_days: int


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that speaks for or against a sensor."""

    state: WatchState
    flag: Flag | None
    earlier: tuple[Flag, ...]
    days: tuple[date, ...]
    water: str
    shares: dict[str, list[float | None]]
    table: tuple[TraceDay, ...]
    checks: tuple[object, ...]
    unseen: tuple[str, ...]
    expected: Expected | None
    peers: tuple[WatchState, ...]
    parts: tuple[str, ...]
    habit: Habit | None


@dataclass(frozen=True, slots=True)
class WatchAsked:
    """What a list of the watch is asked for."""

    show: str = WatchStatus.FLAG
    cause: str = ""
    words: str = ""
    page: int = 1


@dataclass(frozen=True, slots=True)
class TraceDay:
    """What one day showed: the numbers behind the plots; None where nothing is known."""

    day: date
    starts: int
    ran: int | None
    bypassed: int | None
    skipped: int
    expected_rate: float | None
    rain_mm: float | None
    landscape_et_mm: float | None
    depletion_mm: float | None
    depletion_sd_mm: float | None
    causes: tuple[float | None, ...]


def states_asked(*, user: User, asked: WatchAsked) -> QuerySet[WatchState]:
    """States under the words and the cause of a filter, whatever the state."""
    states: QuerySet[WatchState] = WatchState.objects.filter(controller__site__in=sites_for(user=user))
    for word in asked.words.split():
        states = states.filter(
            Q(controller__site__code__icontains=word)
            | Q(controller__site__name__icontains=word)
            | Q(controller__site__address__icontains=word)
            | Q(controller__site__supplier__icontains=word)
            | Q(controller__site__soil__icontains=word)
        )
    if asked.cause in Cause.values:
        states = states.filter(cause=asked.cause)
    return states


def shown_states(*, user: User, asked: WatchAsked) -> QuerySet[WatchState]:
    """States that a filter shows."""
    states = states_asked(user=user, asked=asked)
    return states.filter(status=asked.show) if asked.show in WatchStatus.values else states


def codes_asked(*, user: User, asked: WatchAsked) -> frozenset[str]:
    """Codes of the gardens that a filter shows, all pages of its list together."""
    return frozenset(shown_states(user=user, asked=asked).values_list("controller__site__code", flat=True))


def watch_list(*, user: User, asked: WatchAsked) -> WatchList:
    """States that a person may see under a filter: a state, a cause, words of site, address or supplier."""
    states = states_asked(user=user, asked=asked)
    counts = dict(states.order_by().values_list("status").annotate(count=Count("pk")))
    shown = (
        shown_states(user=user, asked=asked)
        .select_related("controller__site")
        .defer("trace")
        .order_by(
            F("litres_at_stake_per_week").desc(nulls_last=True), "controller__site__code", "controller__code"
        )
    )
    flagged = states.filter(status=WatchStatus.FLAG)
    newest = states.order_by("-as_of").first()
    return WatchList(
        as_of=newest.as_of if newest else None,
        flags=counts.get(WatchStatus.FLAG, 0),
        watched=sum(counts.values()),
        litres_at_stake=flagged.aggregate(all=Sum("litres_at_stake_per_week"))["all"] or 0.0,
        choices=tuple(
            Choice(key, str(word), counts.get(key, 0)) for key, word in WatchStatus.choices if counts.get(key)
        ),
        page=Paginator(shown, PAGE_SIZE).get_page(asked.page),
    )


def corners_asked(*, user: User, asked: WatchAsked) -> list[tuple[float, float]]:
    """South-west and north-east corner of the gardens that a filter shows [deg]; empty without any."""
    found = shown_states(user=user, asked=asked).aggregate(
        west=Min("controller__site__longitude"),
        south=Min("controller__site__latitude"),
        east=Max("controller__site__longitude"),
        north=Max("controller__site__latitude"),
    )
    if found["west"] is None or found["south"] is None:
        return []
    return [(found["west"], found["south"]), (found["east"], found["north"])]


def evidence(*, site_id: int, controller: str, is_us: bool) -> Evidence | None:
    """The evidence page of a controller; None where nobody watches it."""
    state = (
        WatchState.objects.filter(controller__site_id=site_id, controller__code=controller)
        .select_related("controller__site", "controller__sensor")
        .first()
    )
    if state is None:
        return None
    flags = list(Flag.objects.filter(controller=state.controller).order_by("-raised_on"))
    trace = state.trace if isinstance(state.trace, dict) else {}
    first = date.fromisoformat(str(trace["start"])) if trace.get("start") else state.as_of
    days = tuple(first + timedelta(days=n) for n in range(len(trace.get("starts", []))))
    return Evidence(
        state=state,
        flag=next((flag for flag in flags if flag.closed_on is None), None),
        earlier=tuple(flag for flag in flags if flag.closed_on is not None),
        days=days,
        water=_water(state, trace, days, is_us=is_us) if days else "",
        shares={name: list(trace[name]) for name in BY_CAUSE if isinstance(trace.get(name), list)},
        table=tuple(_table(trace, days)),
        checks=BY_CAUSE.get(state.cause, ()),
        unseen=tuple(
            word.replace("_", " ") for word in state.unseen.replace(",", " ").split() if word != state.cause
        ),
        expected=expected_readings(state=state, is_us=is_us),
        peers=_peers(state),
        parts=tuple(part for part in PARTS.get(state.cause, "").split(";") if part),
        habit=_habit(state, trace),
    )


def _habit(state: WatchState, trace: dict[str, Any]) -> Habit | None:
    """The habit that the watch used; None where an earlier season taught it nothing."""
    use, threshold = trace.get("use_on_book"), trace.get("threshold_on_book")
    if use is None or threshold is None:
        return None
    row = WatchHabit.objects.filter(controller=state.controller, use_mean__isnull=False).first()
    return Habit(use, threshold, row.as_of if row else None, row.seen_days if row else 0)


def _table(trace: dict[str, list[Any]], days: tuple[date, ...]) -> Iterable[TraceDay]:
    """The trace by day, the newest first."""
    for at in reversed(range(len(days))):
        ran, starts = int(trace["ran"][at]), int(trace["starts"][at])
        yield TraceDay(
            day=days[at],
            starts=starts,
            ran=ran if ran >= 0 else None,
            bypassed=starts - ran if ran >= 0 else None,
            skipped=int(trace["skipped"][at]),
            expected_rate=trace["expected_rate"][at],
            rain_mm=trace["rain_mm"][at],
            landscape_et_mm=trace["landscape_et_mm"][at],
            depletion_mm=trace["depletion_mm"][at],
            depletion_sd_mm=trace["depletion_sd_mm"][at],
            causes=tuple(trace[name][at] if name in trace else None for name in CAUSES),
        )


def _peers(state: WatchState) -> tuple[WatchState, ...]:
    """Other sensors under the same sky, the nearest gardens first."""
    site = state.controller.site
    if site.location_id is None:
        return ()
    rows = (
        WatchState.objects.filter(controller__site__location_id=site.location_id, starts__gt=0)
        .exclude(pk=state.pk)
        .select_related("controller__site")
        .defer("trace")
    )
    if site.longitude is not None and site.latitude is not None:
        away = (F("controller__site__longitude") - site.longitude) * (
            F("controller__site__longitude") - site.longitude
        ) + (F("controller__site__latitude") - site.latitude) * (
            F("controller__site__latitude") - site.latitude
        )
        rows = rows.order_by(ExpressionWrapper(away, output_field=FloatField()).asc(nulls_last=True))
    return tuple(rows[:PEERS])


def _water(state: WatchState, trace: dict[str, list[Any]], days: tuple[date, ...], *, is_us: bool) -> str:
    """Depletion band with rain above and starts below."""

    def column(name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.array([np.nan if value is None else value for value in trace[name]], dtype=np.float64)

    zone = Zone.objects.filter(controller=state.controller, station=state.controller.sensor.station).first()
    allowed = np.nan
    if zone is not None:
        table = zone_table(site_ids=[state.controller.site_id])
        allowed = float(table.allowed_depletion_mm[int(table.positions_of([zone.pk])[0])])
    starts = [
        StartsRow(first=at, days=1, ran=max(ran, 0), bypassed=offered - max(ran, 0), skipped=skipped)
        for at, (offered, ran, skipped) in enumerate(
            zip(trace["starts"], trace["ran"], trace["skipped"], strict=True)
        )
        if offered + skipped > 0 and ran >= 0
    ]
    return water_stack_svg(
        WaterStack(
            days=list(days),
            rain_mm=column("rain_mm"),
            landscape_et_mm=column("landscape_et_mm"),
            depletion_mm=column("depletion_mm"),
            depletion_sd_mm=column("depletion_sd_mm"),
            is_filled=np.zeros(len(days), dtype=np.bool_),
            allowed_mm=allowed,
            threshold_mm=float(str(trace.get("threshold_mm", "nan"))),
            starts=starts,
            per_mm=mm_to_inches(1.0) if is_us else 1.0,
            unit="in" if is_us else "mm",
        )
    )
