"""Controllers that the weekly round programs, with their open days and what is known of their sensors."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from sites.calc import soil
from sites.calc.program.own_hours import OwnHours
from sites.calc.rules.stages import Stage, Watered
from sites.calc.search.assumed_words import sensor_assumptions
from sites.calc.search.controllers import ControllerTable, RuleCase
from sites.calc.search.settings import ProgramSettings
from sites.calc.search.threshold import Watched
from sites.calc.zone_table import ZoneTable
from sites.models import Controller
from sites.selectors.rule_books import CaseBook, own_hours, stages_by_code, watered_by_zone
from sites.selectors.watched_sensors import watched_sensors
from weather.calc.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class RoundControllers:
    """Controllers with their rule cases; all columns in the same order."""

    table: ControllerTable
    cases: tuple[RuleCase, ...]
    site_ids: IntArray
    governing_station: IntArray
    threshold_kpa: FloatArray
    threshold_steps: tuple[tuple[float, ...], ...]
    watched: tuple[Watched, ...]
    codes: tuple[tuple[str, str], ...]
    frozen: tuple[bool, ...]
    rules_lack: tuple[str, ...]  # why nobody can say what the rules permit; empty: they are known
    own_hours: OwnHours  # of the zones, in the zones' order
    sensor_lacks: tuple[tuple[str, ...], ...]  # what is assumed of each sensor, in sentences


def round_controllers(
    *,
    zones: ZoneTable,
    week: date,
    today: date,
    settings: ProgramSettings,
    rules: Mapping[str, tuple[Stage, ...]] | None = None,
) -> RoundControllers:
    """The controllers of the zones, in the zones' order, each with the days that its rules leave open.

    `rules` gives stages by rule set in the place of the stored ones.
    """
    ids = zones.controller_id[np.sort(np.unique(zones.controller_id, return_index=True)[1])]
    found = {
        row.pk: row for row in Controller.objects.filter(pk__in=ids.tolist()).select_related("site", "sensor")
    }
    rows = [found[pk] for pk in ids.tolist()]
    book = CaseBook(
        stages={**stages_by_code({row.site.rule_set for row in rows}), **(rules or {})},
        week=week,
        settings=settings,
    )
    of_zone = watered_by_zone(rows, zones, book.stages, week)
    watered = _by_controller(zones, of_zone)
    case_of = [book.case_of(row, watered[row.pk]) for row in rows]
    governing = {int(c): at for at, c in enumerate(zones.controller_id) if zones.is_governing[at]}
    threshold = np.array([_threshold(row) for row in rows])
    is_governed = np.array([row.governed and row.pk in governing for row in rows], dtype=np.bool_)
    own = own_hours(book, rows, zones, of_zone, case_of, is_governed)
    return RoundControllers(
        table=ControllerTable(
            controller_id=ids,
            is_governed=is_governed,
            stops_midway=np.array([row.gating == "any_time" for row in rows], dtype=np.bool_),
            has_free_order=np.array([row.station_order == "free" for row in rows], dtype=np.bool_),
            program_count=np.array([row.program_count for row in rows], dtype=np.int64),
            starts_per_program=np.array([row.starts_per_program for row in rows], dtype=np.int64),
            max_run_min=np.array([float(row.max_run_min) for row in rows]),
            minute_step=np.array([float(row.minute_step) for row in rows]),
            threshold_mm=np.array(
                [
                    _threshold_mm(zones, governing[row.pk], kpa) if is_on else np.nan
                    for row, kpa, is_on in zip(rows, threshold, is_governed, strict=True)
                ]
            ),
            case=np.array(case_of, dtype=np.int64),
            stations_at_once=np.array([row.stations_at_once for row in rows], dtype=np.int64),
            flow_limit_l_min=np.array(
                [np.nan if row.flow_limit_l_min is None else row.flow_limit_l_min for row in rows]
            ),
        ),
        cases=tuple(book.cases),
        site_ids=np.array([row.site_id for row in rows], dtype=np.int64),
        governing_station=np.array(
            [
                int(zones.station[governing[row.pk]]) if is_on else 0
                for row, is_on in zip(rows, is_governed, strict=True)
            ]
        ),
        threshold_kpa=threshold,
        threshold_steps=tuple(_steps(row) for row in rows),
        watched=watched_sensors(rows=rows, today=today),
        codes=tuple((row.site.code, row.code) for row in rows),
        frozen=tuple(row.site.program_frozen for row in rows),
        rules_lack=tuple(book.lacks[case] for case in case_of),
        own_hours=own,
        sensor_lacks=tuple(
            _sensor_lacks(row, row.pk in governing, kpa) for row, kpa in zip(rows, threshold, strict=True)
        ),
    )


def watered_by_controller(
    rows: Sequence[Controller], zones: ZoneTable, stages: Mapping[str, tuple[Stage, ...]], week: date
) -> dict[int, frozenset[Watered]]:
    """What each controller waters, as far as its rules ask, so that many controllers share a case."""
    return _by_controller(zones, watered_by_zone(rows, zones, stages, week))


def _by_controller(zones: ZoneTable, watered: Sequence[Watered]) -> dict[int, frozenset[Watered]]:
    """What each controller waters."""
    found: dict[int, set[Watered]] = {}
    for pk, one in zip(zones.controller_id.tolist(), watered, strict=True):
        found.setdefault(pk, set()).add(one)
    return {pk: frozenset(kinds) for pk, kinds in found.items()}


def _threshold(row: Controller) -> float:
    """Threshold as set [kPa], NaN where none is known."""
    sensor = getattr(row, "sensor", None)
    return float(sensor.threshold_kpa) if sensor is not None and sensor.threshold_kpa else math.nan


def _sensor_lacks(row: Controller, has_zone: bool, kpa: float) -> tuple[str, ...]:
    """What is assumed of a controller's sensor."""
    sensor = getattr(row, "sensor", None)
    return sensor_assumptions(
        is_marked=row.governed,
        has_sensor=sensor is not None,
        station=sensor.station if sensor is not None else 0,
        has_zone=has_zone,
        threshold_kpa=kpa,
    )


def _steps(row: Controller) -> tuple[float, ...]:
    """Settings that the unit offers [kPa]."""
    sensor = getattr(row, "sensor", None)
    return sensor.threshold_steps if sensor is not None else ()


def _threshold_mm(zones: ZoneTable, at: int, kpa: float) -> float:
    """Depletion at the threshold [mm]; half of the allowed depletion where nobody told the threshold."""
    if math.isnan(kpa) or kpa <= soil.FIELD_CAPACITY_KPA:
        return float(0.5 * zones.allowed_depletion_mm[at])
    texture = int(zones.soil[at])
    return float(soil.threshold_depletion_mm(texture, kpa, float(zones.root_depth_mm[at])))
