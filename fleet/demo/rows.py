"""Rows of the contract's CSV files, made of what happened in the invented gardens."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fleet.demo.book import DemoSite
from fleet.demo.gardens import DemoController
from fleet.demo.programs import Setting, is_season
from fleet.demo.truth import TrueDays, TrueGardens

Rows = list[dict[str, object]]
LOG_DAYS: Final = 426  # 14 months
LOG_METHODS: Final = ("logger", "counter_read", "customer_card", "none")
PERIOD_DAYS: Final = {"counter_read": 28, "customer_card": 7}
LITRES_PER_GALLON: Final = 3.785411784


@dataclass(frozen=True, slots=True)
class Unit:
    """One controller of one site, with its place in the arrays and its settings."""

    site: DemoSite
    controller: DemoController
    settings: list[Setting]
    zones: slice
    log_method: str


def program_rows(unit: Unit) -> Rows:
    """What the controller was set to, as rows of the programs file."""
    return [
        {
            "site": unit.site.code,
            "controller": unit.controller.code,
            "program": keyed.letter,
            "days": keyed.days,
            "starts": ";".join(keyed.starts),
            "station": station,
            "run_min": minutes,
            "seasonal_adjust_pct": setting.adjust_pct,
            "as_of": setting.as_of.isoformat(),
        }
        for setting in unit.settings
        for keyed in setting.letters
        for station, minutes in keyed.runs
    ]


def bypass_rows(
    rng: np.random.Generator,
    units: list[Unit],
    truth: TrueDays,
    days: NDArray[np.datetime64],
    *,
    today: date,
) -> Rows:
    """14 months of logs by mixed methods: days go missing, counters are read at visits."""
    rows: Rows = []
    for number, unit in enumerate(units):
        since = unit.site.sensor_since
        if unit.controller.sensor_spot is None or since is None or unit.log_method == "none":
            continue
        first = max(since, today - timedelta(days=LOG_DAYS))
        length = PERIOD_DAYS.get(unit.log_method, 1)
        start = first
        while start + timedelta(days=length) <= today:
            end = start + timedelta(days=length)
            if is_season(start) and is_season(end - timedelta(days=1)) and rng.random() > 0.02:
                span = slice(
                    int(np.searchsorted(days, np.datetime64(start))),
                    int(np.searchsorted(days, np.datetime64(end))),
                )
                row = _log_row(unit, truth, span, number)
                row |= (
                    {"date": start.isoformat()}
                    if length == 1
                    else {"start": start.isoformat(), "end": end.isoformat()}
                )
                if row["starts_scheduled"]:
                    rows.append(row)
            start = end
    return rows


def _log_row(unit: Unit, truth: TrueDays, span: slice, number: int) -> dict[str, object]:
    """The counts of one controller over a span of days."""
    counts = {
        "starts_scheduled": truth.scheduled,
        "starts_bypassed": truth.bypassed,
        "starts_cut_short": truth.cut_short,
        "starts_skipped": truth.skipped,
    }
    return {
        "site": unit.site.code,
        "controller": unit.controller.code,
        "method": unit.log_method,
        **{name: int(values[span, number].sum()) for name, values in counts.items()},
    }


def meter_rows(
    rng: np.random.Generator,
    units: list[Unit],
    gardens: TrueGardens,
    truth: TrueDays,
    days: NDArray[np.datetime64],
) -> tuple[Rows, Rows]:
    """Three years of reads a month apart: volumes of most sites, register readings of some, none of a few."""
    litres = truth.applied_mm * gardens.area_m2
    meter: Rows = []
    readings: Rows = []
    by_site: dict[str, list[Unit]] = {}
    for unit in units:
        by_site.setdefault(unit.site.code, []).append(unit)
    for code, own in by_site.items():
        kind = str(rng.choice(["irrigation", "whole_house", "register", "none"], p=[0.5, 0.3, 0.12, 0.08]))
        if kind == "none":
            continue
        daily = np.add.reduce([litres[:, unit.zones].sum(axis=1) for unit in own])
        house = float(rng.uniform(250, 700)) if kind == "whole_house" else 0.0
        daily = daily * float(rng.normal(1.0, 0.02)) + house * rng.lognormal(0, 0.2, daily.size)
        ends = np.cumsum(rng.integers(28, 34, size=daily.size // 28))
        edges = [0, *(int(end) for end in ends if end < daily.size - 8)]
        if kind == "register":
            readings += _register_rows(rng, code, daily, edges, days)
            continue
        for left, right in pairwise(edges):
            volume_l = float(daily[left:right].sum())
            in_gallons = own[0].site.part.supplier == "Hillside Mutual"
            meter.append(
                {
                    "site": code,
                    "start": str(days[left]),
                    "end": str(days[right]),
                    "volume": round(volume_l / LITRES_PER_GALLON / 1000, 2)
                    if in_gallons
                    else round(volume_l / 1000, 2),
                    "unit": "kgal" if in_gallons else "m3",
                    "meter": kind,
                }
            )
    return meter, readings


def _register_rows(
    rng: np.random.Generator,
    code: str,
    daily_l: NDArray[np.float64],
    edges: list[int],
    days: NDArray[np.datetime64],
) -> Rows:
    """Readings of a register with four digits, which rolls over."""
    begin_m3 = float(rng.uniform(200, 9900))
    counted = np.concatenate([[0.0], np.cumsum(daily_l)]) / 1000
    return [
        {
            "site": code,
            "meter_id": f"W{code.replace('-', '')}",
            "read_at": f"{days[edge]}T09:00",
            "reading": round((begin_m3 + counted[edge]) % 10_000, 1),
            "unit": "m3",
            "digits": 4,
            "read_kind": "actual",
            "meter": "irrigation",
        }
        for edge in edges
    ]
