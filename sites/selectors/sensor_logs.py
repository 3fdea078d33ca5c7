"""What sensors' logs of the last weeks add up to, beside what the book says of their zones."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

import numpy as np
from django.db.models import Count, F, Q, Sum

from sites.calc.balance.irrigation import IrrigationSource
from sites.calc.search.learned import Learned, SensorLog, learned_from_logs
from sites.calc.search.settings import ProgramSettings
from sites.calc.zone_table import ZoneTable
from sites.models import BypassLog
from sites.selectors.balance import balance_days
from weather.calc.arrays import FloatArray, IntArray

LOG_DAYS: Final = 42
# Fewer logged days say nothing [d].
LEAST_LOGGED_DAYS: Final = 14
_LOGGED = (IrrigationSource.LOG_PERIOD, IrrigationSource.LOG)


def learned_by_controller(
    *,
    zones: ZoneTable,
    controller_id: IntArray,
    governing: IntArray,
    threshold_mm: FloatArray,
    today: date,
    settings: ProgramSettings,
) -> Learned:
    """What the logs teach about the governing zone of each controller, in the controllers' order.

    Parameters
    ----------
    zones
        Zones.
    controller_id
        The controllers.
    governing
        Position of each controller's governing zone, -1 where none governs.
    threshold_mm
        Depletion at each threshold [mm], NaN where there is none.
    today
        Days before it count.
    settings
        Settings of the round.
    """
    log = sensor_logs(zones=zones, controller_id=controller_id, governing=governing, today=today)
    return learned_from_logs(zones, governing, threshold_mm, log, settings)


def sensor_logs(*, zones: ZoneTable, controller_id: IntArray, governing: IntArray, today: date) -> SensorLog:
    """Sums over the logged days of the last six weeks; NaN where they are too few or their starts unknown.

    Parameters
    ----------
    zones
        Zones.
    controller_id
        The controllers.
    governing
        Position of each controller's governing zone, -1 where none governs.
    today
        Days before it count.
    """
    since = today - timedelta(days=LOG_DAYS)
    sums = np.full((5, len(governing)), np.nan)
    ran, offered = _starts(controller_id, since, today)
    some = np.flatnonzero((governing >= 0) & np.isfinite(offered))
    if some.size:
        days = balance_days(zone_ids=zones.zone_id[governing[some]], start=since, end=today)
        logged = np.isin(days.irrigation_source, [code.value for code in _LOGGED])
        logged &= np.isfinite(days.irrigation_net_mm) & np.isfinite(days.landscape_et_mm)
        enough = logged.sum(axis=0) >= LEAST_LOGGED_DAYS
        for row, column in enumerate((days.irrigation_net_mm, days.landscape_et_mm, days.effective_rain_mm)):
            total = np.where(logged, column, 0.0).sum(axis=0, dtype=np.float64)
            sums[row, some] = np.where(enough, total, np.nan)
        sums[3, some], sums[4, some] = ran[some], offered[some]
    return SensorLog(*sums)


def _starts(controller_id: IntArray, since: date, today: date) -> tuple[FloatArray, FloatArray]:
    """Starts that ran and that were offered, NaN where no log tells both, (controllers,)."""
    position = {int(pk): at for at, pk in enumerate(controller_id)}
    ran, offered = np.full((2, len(controller_id)), np.nan)
    rows = (
        BypassLog.objects.filter(controller_id__in=list(position), start__gte=since, end__lte=today)
        .order_by()
        .values("controller_id")
        .annotate(
            unknown=Count("pk", filter=Q(starts_scheduled__isnull=True)),
            offered=Sum("starts_scheduled"),
            ran=Sum(F("starts_scheduled") - F("starts_bypassed") - F("starts_skipped")),
            skipped=Sum("starts_skipped"),
        )
    )
    for row in rows:
        if row["unknown"] == 0:
            at = position[row["controller_id"]]
            # A skipped start was never the sensor's to block.
            ran[at], offered[at] = row["ran"], row["offered"] - row["skipped"]
    return ran, offered
