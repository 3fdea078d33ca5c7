"""What the watch takes from the book of a garden: doses, litres, threshold and excess water, and peers."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.shared_days import Peers
from sites.calc import soil
from sites.calc.program.passes import ProgramPasses
from sites.calc.zone_table import ZoneTable
from sites.models import Site

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

_SATURATED_KPA = 1e-3
_STEP = 1.05  # ratio of tensions over which the slope of the retention curve is taken
_LEAST_THRESHOLD_MM = 0.2
_M_PER_DEGREE = 111_320.0  # of latitude; good enough to tell who lives in one street


def peers_of(site_ids: IntArray) -> Peers:
    """Site, supplier and place of each controller."""
    rows = {
        row[0]: row[1:]
        for row in Site.objects.filter(pk__in=np.unique(site_ids).tolist()).values_list(
            "id", "supplier", "longitude", "latitude"
        )
    }
    suppliers = {name: at for at, name in enumerate(sorted({row[0] for row in rows.values() if row[0]}))}
    told = [rows[pk] for pk in site_ids.tolist()]
    lon = np.array([np.nan if row[1] is None else row[1] for row in told], dtype=np.float64)
    lat = np.array([np.nan if row[2] is None else row[2] for row in told], dtype=np.float64)
    middle = float(np.nanmean(lat)) if np.isfinite(lat).any() else 0.0
    return Peers(
        site=site_ids.astype(np.int64),
        supplier=np.array([suppliers.get(row[0], -1) for row in told], dtype=np.int64),
        x_m=lon * _M_PER_DEGREE * float(np.cos(np.deg2rad(middle))),
        y_m=lat * _M_PER_DEGREE,
    )


def _run_min_per_start(passes: ProgramPasses) -> FloatArray:
    """Minutes of one run of each zone, 0 on days without, (days, zones)."""
    return np.divide(
        passes.run_min, passes.passes, out=np.zeros(passes.run_min.shape), where=passes.passes > 0
    ).astype(np.float64)


def start_doses(governing: ZoneTable, passes: ProgramPasses) -> FloatArray:
    """Net depth of a start at the governing zone, the usual one on days without a run, (days, sites)."""
    order = np.argsort(passes.zone_ids)
    column = order[np.searchsorted(passes.zone_ids, governing.zone_id, sorter=order)]
    minutes = np.minimum(_run_min_per_start(passes)[:, column], governing.runoff_limit_min)
    runs = (minutes > 0).sum(axis=0)
    usual = np.divide(minutes.sum(axis=0), runs, out=np.full(runs.shape, np.nan), where=runs > 0)
    known = usual[np.isfinite(usual)]
    usual = np.where(np.isfinite(usual), usual, np.median(known) if known.size else 10.0)
    depth = governing.precipitation_rate_mm_h * governing.application_efficiency / 60.0
    return np.asarray(np.where(minutes > 0, minutes, usual[None, :]) * depth)


def litres_per_start(zones: ZoneTable, passes: ProgramPasses, controller_ids: IntArray) -> FloatArray:
    """Gross water of one start over all stations, mean of the days with starts, (sites,) [L]."""
    order = np.argsort(zones.zone_id)
    mine = order[np.searchsorted(zones.zone_id, passes.zone_ids, sorter=order)]
    litres = zones.precipitation_rate_mm_h[mine] * zones.area_m2[mine] / 60.0
    used = (passes.run_min.astype(np.float64) * litres).sum(axis=0)
    at = np.argsort(controller_ids)
    site = at[np.searchsorted(controller_ids, zones.controller_id[mine], sorter=at)]
    total = np.bincount(site, weights=used, minlength=controller_ids.size)
    starts = passes.starts.sum(axis=0)
    return np.asarray(np.divide(total, starts, out=np.zeros(total.shape), where=starts > 0))


def threshold_depletion(
    governing: ZoneTable, thresholds_kpa: list[float | None]
) -> tuple[FloatArray, FloatArray]:
    """Depletion at the threshold and its slope against ln(tension), both (sites,) [mm].

    Without a known setting the allowed depletion stands in; the learned offset then does the rest.
    """
    kpa = np.array([np.nan if value is None else value for value in thresholds_kpa], dtype=np.float64)
    usable = np.where(kpa > soil.FIELD_CAPACITY_KPA, kpa, np.nan)
    depth = soil.threshold_depletion_mm(governing.soil, usable, governing.root_depth_mm)
    drier = soil.threshold_depletion_mm(governing.soil, usable * _STEP, governing.root_depth_mm)
    slope = (drier - depth) / np.log(_STEP)
    known = np.isfinite(depth)
    depth = np.where(known, depth, governing.allowed_depletion_mm)
    slope = np.where(known, slope, 0.5 * governing.allowed_depletion_mm)
    return np.maximum(depth, _LEAST_THRESHOLD_MM), slope


def excess_water(governing: ZoneTable) -> FloatArray:
    """Water between field capacity and saturation, (sites,) [mm]."""
    saturation = soil.water_content(governing.soil, _SATURATED_KPA)
    return np.maximum(saturation - governing.field_capacity, 0.0) * governing.root_depth_mm


def book_words(governing: ZoneTable) -> tuple[str, ...]:
    """Zone, landscape coefficient, depth per minute and available water of each controller, to compare books.

    Errors that were learned against other numbers mean something else; the threshold may change, since the
    error is one of the curve.
    """
    rate = governing.precipitation_rate_mm_h * governing.application_efficiency
    rows = zip(
        governing.zone_id,
        governing.landscape_coefficient,
        rate,
        governing.total_available_water_mm,
        strict=True,
    )
    return tuple(
        f"zone {zone}: KL {use:.3g}, {mm_h:.3g} mm/h, {water:.3g} mm" for zone, use, mm_h, water in rows
    )
