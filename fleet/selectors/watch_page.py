"""The watch's list and the evidence of one controller."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

import numpy as np
from django.core.paginator import Page, Paginator
from django.db.models import Count, F, QuerySet, Sum

from fleet.calc.site_checks import BY_CAUSE
from fleet.models import Flag, User, WatchState, WatchStatus
from fleet.selectors.site_access import sites_for
from sites.charts import WaterStack, water_stack_svg
from sites.models import Zone
from sites.selectors.zones import zone_table
from sites.start_ticks import StartsRow
from weather.calc.units import mm_to_inches

PAGE_SIZE: Final = 40


@dataclass(frozen=True, slots=True)
class Choice:
    """A filter with its count."""

    key: str
    word: str
    count: int


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
class Evidence:
    """All that speaks for or against a sensor."""

    state: WatchState
    flag: Flag | None
    earlier: tuple[Flag, ...]
    days: tuple[date, ...]
    water: str
    shares: dict[str, list[float | None]]
    checks: tuple[object, ...]
    unseen: tuple[str, ...]


def watch_list(*, user: User, show: str, page: int) -> WatchList:
    """States that a person may see under a filter."""
    states: QuerySet[WatchState] = WatchState.objects.filter(controller__site__in=sites_for(user=user))
    counts = dict(states.order_by().values_list("status").annotate(count=Count("pk")))
    shown = states.filter(status=show) if show in WatchStatus.values else states
    shown = (
        shown.select_related("controller__site")
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
        page=Paginator(shown, PAGE_SIZE).get_page(page),
    )


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
        checks=BY_CAUSE.get(state.cause, ()),
        unseen=tuple(word.replace("_", " ") for word in state.unseen.replace(",", " ").split()),
    )


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
