"""Finished visits by kind, garden and month, with what they cost."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from fleet.calc.ledger.visit_effects import visit_effect
from fleet.calc.visits.settings import visit_settings
from fleet.models import Finding, Stop
from fleet.selectors.company.company import the_company
from weather.calc.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class _Done:
    """Finished stops: garden, month, kinds, minutes, kilometres."""

    site: IntArray
    month: IntArray
    kinds: list[set[str]]
    minutes: FloatArray
    km: FloatArray


def visit_values(
    *, site_ids: IntArray, months: Sequence[tuple[date, date]], over_l: FloatArray
) -> dict[str, dict[str, float | int | None]]:
    """Effect and cost of finished visits by kind, as the ledger keeps them.

    Parameters
    ----------
    site_ids
        Gardens in the order of the rows.
    months
        First day and the day after the last of each column.
    over_l
        Use less need, NaN where not told, shape (sites, months) [L].
    """
    done = _finished(site_ids, months)
    visited = np.zeros(over_l.shape, dtype=np.bool_)
    visited[done.site, done.month] = True
    company = the_company()
    money = visit_settings(company.settings if company else {})
    cost = done.minutes / 60.0 * money.cost_per_hour + done.km * money.cost_per_km
    found: dict[str, dict[str, float | int | None]] = {}
    for kind in sorted(set().union(*done.kinds)):
        mine = np.array([kind in kinds for kinds in done.kinds], dtype=np.bool_)
        effect = visit_effect(over_l=over_l, site=done.site[mine], month=done.month[mine], is_visited=visited)
        found[kind] = {
            "visits": int(mine.sum()),
            "cost": round(float(cost[mine].mean()), 2),
            "told": effect.visits if effect else 0,
            "saved_l": round(effect.saved_l, 1) if effect else None,
            "low_l": round(effect.low_l, 1) if effect else None,
            "high_l": round(effect.high_l, 1) if effect else None,
            "plain_l": round(effect.plain_l, 1) if effect else None,
        }
    return found


def _finished(site_ids: IntArray, months: Sequence[tuple[date, date]]) -> _Done:
    """Finished stops within the months."""
    index = {int(pk): place for place, pk in enumerate(site_ids)}
    edges = np.array([span[0] for span in months], dtype="datetime64[D]")
    rows = list(
        Stop.objects.filter(
            state=Stop.State.FINISHED,
            visit__isnull=False,
            route__day__gte=months[0][0],
            route__day__lt=months[-1][1],
        )
        .order_by("pk")
        .values_list(
            "visit_id", "visit__site_id", "route__day", "drive_min", "drive_km", "visit__service_min"
        )
    )
    kinds: dict[int, set[str]] = defaultdict(set)
    for pk, kind in Finding.objects.order_by().values_list("visit_id", "kind"):
        kinds[pk].add(kind)
    days = np.array([row[2] for row in rows], dtype="datetime64[D]")
    return _Done(
        site=np.array([index[row[1]] for row in rows], dtype=np.int64),
        month=np.searchsorted(edges, days, side="right").astype(np.int64) - 1,
        kinds=[kinds[row[0]] for row in rows],
        minutes=np.array([row[3] + row[5] for row in rows], dtype=np.float64),
        km=np.array([row[4] for row in rows], dtype=np.float64),
    )
