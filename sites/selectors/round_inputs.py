"""Controllers that the weekly round programs, with their open days and what is known of their sensors."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sites.calc import soil
from sites.calc.landscape import HEADS, PLANTS
from sites.calc.program_controllers import ControllerTable, RuleCase
from sites.calc.program_settings import ProgramSettings
from sites.calc.program_threshold import Watched
from sites.calc.rule_cases import rule_case
from sites.calc.rule_file import parse_stage
from sites.calc.rules import AddressUnknownError, Stage, Watered, house_number
from sites.calc.zone_table import ZoneTable
from sites.models import Controller, RuleSet, Zone
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
    cases, case_of, lacks = _cases(rows, zones, week, settings, rules or {})
    governing = {int(c): at for at, c in enumerate(zones.controller_id) if zones.is_governing[at]}
    threshold = np.array([_threshold(row) for row in rows])
    is_governed = np.array([row.governed and row.pk in governing for row in rows], dtype=np.bool_)
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
        ),
        cases=cases,
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
        rules_lack=tuple(lacks[case] for case in case_of),
    )


def _cases(
    rows: Sequence[Controller],
    zones: ZoneTable,
    week: date,
    settings: ProgramSettings,
    rules: Mapping[str, tuple[Stage, ...]],
) -> tuple[tuple[RuleCase, ...], list[int], list[str]]:
    """Rule cases, the case of each controller, and what lacks to know its rules (empty: nothing)."""
    stages = {**stages_by_code({row.site.rule_set for row in rows}), **rules}
    watered = watered_by_controller(rows, zones, stages, week)
    known: dict[tuple[object, ...], int] = {}
    cases: list[RuleCase] = []
    lacks: list[str] = []
    case_of = []
    for row in rows:
        kinds = watered[row.pk]
        key = (row.site.rule_set, kinds, row.day_modes, row.site.timezone)
        if key not in known:
            known[key] = len(cases)
            case, lack = _case(row, kinds, stages, week, settings)
            cases.append(case)
            lacks.append(lack)
        case_of.append(known[key])
    return tuple(cases), case_of, lacks


def _case(
    row: Controller,
    kinds: frozenset[Watered],
    stages: dict[str, tuple[Stage, ...]],
    week: date,
    settings: ProgramSettings,
) -> tuple[RuleCase, str]:
    """What the rules leave open to a controller; nothing, and why, where they cannot be known."""
    if row.site.rule_set and row.site.rule_set not in stages:
        return RuleCase(()), f"the watering rules {row.site.rule_set[:36]} are not in the book"
    try:
        case = rule_case(
            stages.get(row.site.rule_set, ()),
            sorted(kinds, key=repr),
            first_day=week,
            day_count=settings.horizon_days,
            day_modes=row.day_modes.split(","),
            timezone=row.site.timezone,
        )
    except AddressUnknownError:
        return RuleCase(()), "the address shows no house number"
    return case, ""


def watered_by_controller(
    rows: Sequence[Controller], zones: ZoneTable, stages: dict[str, tuple[Stage, ...]], week: date
) -> dict[int, frozenset[Watered]]:
    """What each controller waters, as far as its rules ask, so that many controllers share a case."""
    planted = dict(
        Zone.objects.filter(controller__in=[row.pk for row in rows], planted_on__isnull=False).values_list(
            "pk", "planted_on"
        )
    )
    of_controller: dict[int, list[int]] = {}
    for at, pk in enumerate(zones.controller_id.tolist()):
        of_controller.setdefault(pk, []).append(at)
    found = {}
    for row in rows:
        mine = stages.get(row.site.rule_set, ())
        asks_kind = any(stage.heads or stage.plants for stage in mine)
        longest = max((stage.exempt_days_after_planting for stage in mine), default=0)
        number = house_number(row.site.address) if mine else None
        # Rules ask for parity or the last digit only.
        digit = None if number is None else number % 10
        kinds = set()
        for at in of_controller[row.pk]:
            day = planted.get(int(zones.zone_id[at]))
            fresh = day if day is not None and day + timedelta(days=longest) > week else None
            head, plant = (HEADS[zones.head[at]], PLANTS[zones.plant[at]]) if asks_kind else ("", "")
            kinds.add(Watered(digit, head, plant, fresh))
        found[row.pk] = frozenset(kinds)
    return found


def _threshold(row: Controller) -> float:
    """Threshold as set [kPa], NaN where none is known."""
    sensor = getattr(row, "sensor", None)
    return float(sensor.threshold_kpa) if sensor is not None and sensor.threshold_kpa else math.nan


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


def stages_by_code(codes: set[str]) -> dict[str, tuple[Stage, ...]]:
    """Stages of the rule sets by code."""
    sets = RuleSet.objects.filter(code__in=codes).prefetch_related("stages")
    return {one.code: tuple(parse_stage(stage.spec) for stage in one.stages.all()) for one in sets}
