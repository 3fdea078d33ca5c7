"""Programs as set and bypass logs, as arrays for the formulas."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt

from sites.calc.balance.irrigation import COUNT_ERROR, BypassRows
from sites.calc.program.passes import ProgramLines
from sites.models import BypassLog, Controller, ProgramLine, Zone

IntArray = npt.NDArray[np.int64]


def program_lines(*, controller_ids: Sequence[int] | IntArray) -> ProgramLines:
    """All settings of the controllers, line by line; lines of stations without a zone are left out."""
    wanted = [int(number) for number in controller_ids]
    zones = Zone.objects.filter(controller_id__in=wanted).values_list("controller_id", "station", "pk")
    zone_of = {(controller, station): pk for controller, station, pk in zones}
    rows = [
        (controller, letter, zone_of[controller, station], days, starts, minutes, adjust, as_of)
        for controller, letter, station, days, starts, minutes, adjust, as_of in ProgramLine.objects.filter(
            program_set__controller_id__in=wanted
        )
        .order_by("program_set__controller_id", "program_set__as_of", "letter", "run_order")
        .values_list(
            "program_set__controller_id",
            "letter",
            "station",
            "days",
            "starts",
            "run_min",
            "seasonal_adjust_pct",
            "program_set__as_of",
        )
        if (controller, station) in zone_of
    ]
    columns: list[tuple[Any, ...]] = list(zip(*rows, strict=True)) if rows else [()] * 8
    return ProgramLines(
        controller_id=np.array(columns[0], dtype=np.int64),
        program=np.array(columns[1], dtype=np.str_),
        zone_id=np.array(columns[2], dtype=np.int64),
        days=np.array(columns[3], dtype=np.str_),
        starts=np.array(columns[4], dtype=np.str_),
        run_min=np.array(columns[5], dtype=np.float64),
        seasonal_adjust_pct=np.array(columns[6], dtype=np.float64),
        as_of=np.array(columns[7], dtype="datetime64[D]"),
    )


def bypass_rows(*, controller_ids: IntArray, start: date, end: date) -> BypassRows:
    """Bypass logs that touch a span of days (`start` inclusive, `end` exclusive)."""
    rows = list(
        BypassLog.objects.filter(controller_id__in=controller_ids.tolist(), end__gt=start, start__lt=end)
        .order_by("controller_id", "start")
        .values_list(
            "controller_id",
            "start",
            "end",
            "starts_scheduled",
            "starts_bypassed",
            "starts_cut_short",
            "starts_skipped",
            "method",
        )
    )
    columns: list[tuple[Any, ...]] = list(zip(*rows, strict=True)) if rows else [()] * 8
    return BypassRows(
        controller_id=np.array(columns[0], dtype=np.int64),
        start=np.array(columns[1], dtype="datetime64[D]"),
        end=np.array(columns[2], dtype="datetime64[D]"),
        scheduled=np.array([np.nan if value is None else value for value in columns[3]], dtype=np.float64),
        bypassed=np.array(columns[4], dtype=np.float64),
        cut_short=np.array(columns[5], dtype=np.float64),
        skipped=np.array(columns[6], dtype=np.float64),
        error_share=np.array([COUNT_ERROR[method] for method in columns[7]], dtype=np.float64),
    )


def governed_from(*, controller_ids: IntArray) -> npt.NDArray[np.datetime64]:
    """Day from which a sensor can block each controller; NaT: never; a sensor without a date: always."""
    installed = dict(
        Controller.objects.filter(pk__in=controller_ids.tolist(), governed=True).values_list(
            "pk", "sensor__installed_on"
        )
    )
    days = [
        np.datetime64(installed[pk] or date.min, "D") if pk in installed else np.datetime64("NaT", "D")
        for pk in controller_ids.tolist()
    ]
    return np.array(days, dtype="datetime64[D]")
