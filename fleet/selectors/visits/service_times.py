"""Times on site that technicians noted, by kind of visit."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import Final

from fleet.calc.visits.service_times import LearnedTime, learned_times
from fleet.calc.visits.settings import VisitSettings, planned_min
from fleet.models import Finding, VisitKind

LOOKED_BACK_DAYS: Final = 730


def observed_service_min(*, day: date) -> dict[str, list[float]]:
    """Minutes on site by kind [min], of the last two years; what was taken back does not count.

    A visit that met several needs tells nothing of one of them: only visits with one finding count.
    """
    rows = (
        Finding.objects.that_count()
        .filter(service_min__gt=0, recorded_at__date__gte=day - timedelta(days=LOOKED_BACK_DAYS), kind__gt="")
        .values_list("visit_id", "kind", "service_min")
    )
    by_visit: dict[int, list[tuple[str, float]]] = defaultdict(list)
    for visit_id, kind, minutes in rows:
        by_visit[visit_id].append((kind, float(minutes or 0)))
    found: dict[str, list[float]] = defaultdict(list)
    for said in by_visit.values():
        if len(said) == 1:
            found[said[0][0]].append(said[0][1])
    return dict(found)


def service_times(*, day: date, settings: VisitSettings | None = None) -> dict[str, LearnedTime]:
    """Minutes to plan each kind with on a day, their spread, and the findings behind them.

    Parameters
    ----------
    day
        The company's day.
    settings
        Whose planned minutes count; None: those as they came.
    """
    used = settings or VisitSettings()
    planned = {kind: max(planned_min(used, kind), 1.0) for kind in VisitKind.values}
    return learned_times(planned, observed_service_min(day=day))
