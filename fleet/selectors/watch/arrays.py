"""Everything the sensor watch reads, as arrays, in a fixed number of queries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from django.db.models import Max

from fleet.calc.watch.habits import no_habits
from fleet.calc.watch.inputs import WatchInputs
from fleet.calc.watch.log import DailyLog, daily_log
from fleet.calc.watch.shared_days import Peers
from fleet.models import Flag
from fleet.selectors.watch.ground import (
    book_words,
    excess_water,
    litres_per_start,
    peers_of,
    start_doses,
    threshold_depletion,
)
from sites.calc import landscape
from sites.calc.program.passes import ProgramPasses, program_passes
from sites.calc.zone_table import ZoneTable
from sites.models import Sensor, Zone
from sites.selectors.programs_set import bypass_rows, program_lines
from sites.selectors.zones import zone_table
from weather.selectors import weather_days

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

SPAN_DAYS = 200
"""Length of log and weather that the watch looks at [d]."""
_LONG_AGO = 10_000


@dataclass(frozen=True, slots=True)
class WatchBook:
    """Governed controllers that can be watched, and those that cannot, with the reason.

    Parameters
    ----------
    controller_ids
        Controllers in the order of every array, (sites,).
    inputs
        What the filter takes.
    log
        What the log says of each day.
    litres_per_start
        Water of one start over all stations, (sites,) [L].
    trial_days, planting_days
        Days since the sensor was installed and the governing zone planted, (sites,) [d].
    log_age_days
        Days since the newest day of the log, (sites,) [d].
    left_out
        Reason by controller id.
    peers
        Streets and suppliers that controllers share.
    counts_from
        Day from which the sensor's counts speak (installed, or settled by a finding), NaT: always, (sites,)
        [datetime64 day].
    book_words
        The book's numbers against which a garden's errors are learned, (sites,).
    """

    controller_ids: IntArray
    inputs: WatchInputs
    log: DailyLog
    litres_per_start: FloatArray
    trial_days: IntArray
    planting_days: IntArray
    log_age_days: IntArray
    left_out: dict[int, str]
    peers: Peers
    counts_from: npt.NDArray[np.datetime64]
    book_words: tuple[str, ...]


def watch_book(*, as_of: date) -> WatchBook | None:
    """Logs, programs, weather and book values of all governed controllers; None where there are none.

    Parameters
    ----------
    as_of
        Last day looked at.
    """
    sensors = {
        row[0]: row[1:]
        for row in Sensor.objects.filter(controller__governed=True).values_list(
            "controller_id", "threshold_kpa", "installed_on"
        )
    }
    if not sensors:
        return None
    all_zones = zone_table()
    governing = all_zones.take(
        np.flatnonzero(all_zones.is_governing & np.isin(all_zones.controller_id, list(sensors)))
    )
    days = np.arange(
        np.datetime64(as_of - timedelta(days=SPAN_DAYS - 1)), np.datetime64(as_of + timedelta(days=1))
    )
    weather, has_weather = _weather(governing, days)
    left_out = dict.fromkeys(sensors, "the sensor stands at a station without a zone")
    for pk in governing.controller_id.tolist():
        left_out[pk] = "no weather for the site"
    governing = governing.take(np.flatnonzero(has_weather))
    if len(governing) == 0:
        return None
    for pk in governing.controller_id.tolist():
        del left_out[pk]
    passes = _passes(all_zones, governing.controller_id, days)
    log = daily_log(
        bypass_rows(
            controller_ids=governing.controller_id,
            start=as_of - timedelta(days=SPAN_DAYS - 1),
            end=as_of + timedelta(days=1),
        ),
        days=days,
        controller_ids=governing.controller_id,
        book_starts=passes.starts,
        is_known=passes.is_known,
    )
    et, rain = weather
    return _assemble(
        governing, all_zones, passes, log, (et[:, has_weather], rain[:, has_weather]), sensors, left_out
    )


def _assemble(
    governing: ZoneTable,
    all_zones: ZoneTable,
    passes: ProgramPasses,
    log: DailyLog,
    weather: tuple[FloatArray, FloatArray],
    sensors: dict[int, tuple[float | None, date | None]],
    left_out: dict[int, str],
) -> WatchBook:
    """The book of the watch from its parts."""
    ids = governing.controller_id
    as_of = passes.days[-1]
    installed = _days_of(ids, {pk: row[1] for pk, row in sensors.items()})
    planted = _days_of(ids, _planted(ids, governing.station))
    restart = _days_of(ids, _settled_by_finding(as_of=as_of.astype(object)))
    counts_from = np.fmax(installed, restart)
    first = (counts_from - passes.days[0]).astype(np.float64)
    threshold, slope = threshold_depletion(governing, [sensors[int(pk)][0] for pk in ids])
    dose = start_doses(governing, passes)
    inputs = WatchInputs(
        days=passes.days,
        location=np.unique(_rain_location(governing), return_inverse=True)[1].astype(np.int64),
        use_group=governing.plant * len(landscape.HEADS) + governing.head,
        soil_group=governing.soil,
        landscape_coefficient=governing.landscape_coefficient,
        threshold_depletion_mm=threshold,
        available_water_mm=governing.total_available_water_mm,
        excess_water_mm=excess_water(governing),
        tension_slope_mm=slope,
        first_day=np.clip(np.nan_to_num(first, nan=0.0), 0, passes.days.size).astype(np.int64),
        reference_et_mm=weather[0],
        rain_mm=weather[1],
        dose_mm=dose,
        starts=log.starts,
        ran=log.ran,
        period_starts=log.period_starts,
        period_ran=log.period_ran,
        period_days=log.period_days,
        habits=no_habits(ids.size),
    )
    return WatchBook(
        controller_ids=ids,
        inputs=inputs,
        log=log,
        litres_per_start=litres_per_start(all_zones, passes, ids),
        trial_days=_age(as_of, installed),
        planting_days=_age(as_of, planted),
        log_age_days=_log_age(log),
        left_out=left_out,
        peers=peers_of(governing.site_id),
        counts_from=counts_from,
        book_words=book_words(governing),
    )


def _rain_location(governing: ZoneTable) -> IntArray:
    """Location whose rain falls on the zone."""
    return np.where(governing.rain_location_id > 0, governing.rain_location_id, governing.location_id)


def _weather(
    governing: ZoneTable, days: npt.NDArray[np.datetime64]
) -> tuple[tuple[FloatArray, FloatArray], npt.NDArray[np.bool_]]:
    """Reference ET and rain of each zone, and whether both are known on any day."""
    wanted = np.unique(np.concatenate([governing.location_id, governing.rain_location_id]))
    first, last = days[0].astype(object), days[-1].astype(object)
    sky = weather_days(location_ids=wanted[wanted > 0], start=first, end=last + timedelta(days=1))
    et = np.full((days.size, len(governing)), np.nan)
    column = sky.columns_of(governing.location_id)
    et[:, column >= 0] = sky.reference_et_mm[:, column[column >= 0]]
    told = sky.rain_of(governing.location_id, governing.rain_location_id)
    rain = told.rain_mm[:, told.column]
    return (et, rain), np.isfinite(et).any(axis=0) & np.isfinite(rain).any(axis=0)


def _passes(zones: ZoneTable, controller_ids: IntArray, days: npt.NDArray[np.datetime64]) -> ProgramPasses:
    """Programs as set of the watched controllers and all their zones."""
    mine = np.isin(zones.controller_id, controller_ids)
    return program_passes(
        program_lines(controller_ids=controller_ids),
        days=days,
        controller_ids=controller_ids,
        zone_ids=zones.zone_id[mine],
    )


def _planted(controller_ids: IntArray, stations: IntArray) -> dict[int, date | None]:
    """Planting day of each controller's governing zone."""
    governing = dict(zip(controller_ids.tolist(), stations.tolist(), strict=True))
    rows = Zone.objects.filter(controller_id__in=list(governing), planted_on__isnull=False)
    return {
        pk: planted
        for pk, station, planted in rows.values_list("controller_id", "station", "planted_on")
        if governing[pk] == station
    }


def _settled_by_finding(*, as_of: date) -> dict[int, date | None]:
    """Newest day on which a finding settled a flag: the evidence before it is answered."""
    rows = Flag.objects.filter(closed_by=Flag.ClosedBy.FINDING, closed_on__lte=as_of).order_by()
    return dict(rows.values_list("controller_id").annotate(Max("closed_on")))


def _days_of(controller_ids: IntArray, by_id: dict[int, date | None]) -> npt.NDArray[np.datetime64]:
    """Day of each controller, NaT where there is none."""
    return np.array(
        [np.datetime64(by_id.get(int(pk)) or "NaT", "D") for pk in controller_ids], dtype="datetime64[D]"
    )


def _age(as_of: np.datetime64, day: npt.NDArray[np.datetime64]) -> IntArray:
    """Days since then; long ago where no day is known."""
    age = (as_of - day).astype("timedelta64[D]").astype(np.float64)
    return np.where(np.isnat(day), _LONG_AGO, np.maximum(np.nan_to_num(age), 0)).astype(np.int64)


def _log_age(log: DailyLog) -> IntArray:
    """Days since the newest day of the log, (sites,)."""
    days = log.ran.shape[0]
    logged = (log.scheduled >= 0) | (log.period_days > 0)
    newest = np.where(logged, np.arange(days)[:, None], -_LONG_AGO).max(axis=0, initial=-_LONG_AGO)
    return np.asarray(days - 1 - newest, dtype=np.int64)
