"""The invented company as a folder of the contract's files: everything comes from a seed."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np

from fleet.demo.book import DemoSite, book_collection, invent_sites
from fleet.demo.contracts import contract_rows
from fleet.demo.office import rules, tariff_rows, technician_rows, visit_rows
from fleet.demo.records import invent_records
from fleet.demo.sky import LOCATIONS, Sky, invent_sky
from fleet.demo.streets import build_network, map_layers, write_osm

Rows = list[dict[str, object]]
# Days before today on which the hill's station was silent; its record is filled from the others.
GAP_BACK_D: Final = (51, 50, 49, 48)
# One garden has a rain gauge of its own, for so many days, silent on some of them.
GAUGE_DAYS: Final = 400
GAUGE_SILENT_BACK_D: Final = (4, 5, 6, 13)
FORECAST_DAYS: Final = 7
PAST_ISSUES: Final = 40  # days on which a forecast was issued before today


@dataclass(frozen=True, slots=True)
class DemoFiles:
    """Where the files lie, and what no file of a company carries."""

    folder: Path
    layers: dict[str, object]
    truth: Path


def write_demo_files(folder: Path, *, sites: int, seed: int, today: date) -> DemoFiles:
    """Write the whole company into a folder.

    Parameters
    ----------
    folder
        Where to write; made where it is missing.
    sites
        Number of gardens.
    seed
        Seed of all chance.
    today
        The company's today; weather, logs and reads end the day before.
    """
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    gardens = invent_sites(rng, count=sites, today=today)
    (folder / "book.geojson").write_text(json.dumps(book_collection(rng, gardens)), encoding="utf-8")
    sky = invent_sky(rng, until=today)
    weather = weather_rows(rng, sky, today=today)
    (past_rng,) = rng.spawn(1)  # a stream of its own: what follows stays as it was
    (gauge_rng,) = rng.spawn(1)
    gauge = own_gauge_rows(gauge_rng, gardens[0], sky, today=today) if gardens else []
    foretold = past_forecast_rows(past_rng, weather, today=today)
    _write(folder / "weather.csv", weather + foretold + gauge)
    records = invent_records(rng, gardens, sky, today=today)
    _write(folder / "programs.csv", records.programs)
    _write(folder / "bypass.csv", records.bypass)
    _write(folder / "meter.csv", records.meter)
    _write(folder / "readings.csv", records.readings)
    _write(folder / "planted_faults.csv", records.truth)
    _write(folder / "technicians.csv", technician_rows())
    _write(folder / "tariffs.csv", tariff_rows(today))
    _write(folder / "visits.csv", visit_rows(rng, gardens, today=today))
    _write(folder / "contracts.csv", contract_rows(rng, gardens, today=today))
    (folder / "rules.json").write_text(json.dumps(rules(today), indent=1), encoding="utf-8")
    network = build_network()
    write_osm(network, folder / "streets.osm")
    layers = map_layers(network)
    layers["lots"] = _lots(gardens)
    return DemoFiles(
        folder=folder,
        layers=layers,
        truth=folder / "planted_faults.csv",
    )


def weather_rows(rng: np.random.Generator, sky: Sky, *, today: date) -> Rows:
    """Observed days up to yesterday with one gap, and a seven-day forecast that errs more with lead."""
    rows: Rows = []
    for place, (name, latitude, longitude, elevation, _, _) in enumerate(LOCATIONS):
        where = {"location": name, "latitude": latitude, "longitude": longitude, "elevation_m": elevation}
        for index, stamp in enumerate(sky.days):
            day = date.fromisoformat(str(stamp))
            lead = (day - today).days
            if (place == 1 and -lead in GAP_BACK_D) or lead >= FORECAST_DAYS:
                continue
            row = {
                **where,
                "date": day.isoformat(),
                "tmin_c": sky.tmin_c[index, place],
                "tmax_c": sky.tmax_c[index, place],
                "tdew_c": sky.tdew_c[index, place],
                "wind_m_s": sky.wind_m_s[index, place],
                "solar_mj_m2": sky.solar_mj_m2[index, place],
                "rain_mm": sky.rain_mm[index, place],
                "kind": "observed" if lead < 0 else "forecast",
                "issued": "" if lead < 0 else today.isoformat(),
            }
            rows.append(row if lead < 0 else _foretold(rng, row, lead))
    return rows


def own_gauge_rows(rng: np.random.Generator, site: DemoSite, sky: Sky, *, today: date) -> Rows:
    """Days of one garden's own gauge: rain alone, near to the truth, and silent now and then."""
    point = site.town(site.garden.lot).centroid
    away = [math.hypot(place[1] - point.y, 0.75 * (place[2] - point.x)) for place in LOCATIONS]
    nearest = int(np.argmin(away))
    rows: Rows = []
    for index, stamp in enumerate(sky.days):
        day = date.fromisoformat(str(stamp))
        back = (today - day).days
        if not 0 < back <= GAUGE_DAYS or back in GAUGE_SILENT_BACK_D:
            continue
        rain = float(sky.rain_mm[index, nearest]) * float(rng.lognormal(0, 0.08))
        rows.append(
            {
                "location": site.code,
                "latitude": round(point.y, 5),
                "longitude": round(point.x, 5),
                "elevation_m": LOCATIONS[nearest][3],
                "date": day.isoformat(),
                "rain_mm": round(rain, 1),
                "kind": "observed",
            }
        )
    return rows


def past_forecast_rows(rng: np.random.Generator, weather: Rows, *, today: date) -> Rows:
    """What was foretold on each of the last days, with the same errors by lead as today's forecast."""
    recent = today - timedelta(days=PAST_ISSUES)
    rows: Rows = []
    for row in weather:
        day = date.fromisoformat(str(row["date"]))
        if row["kind"] != "observed" or day < recent:
            continue
        for lead in range(min(FORECAST_DAYS, (day - recent).days + 1)):
            issued = (day - timedelta(days=lead)).isoformat()
            rows.append(_foretold(rng, {**row, "kind": "forecast", "issued": issued}, lead))
    return rows


def _foretold(rng: np.random.Generator, row: dict[str, Any], lead: int) -> dict[str, Any]:
    """A true day as it was foretold: its temperatures off, no sun, and one shower of five missed."""
    error = float(rng.normal(0, 0.8 + 0.25 * lead))
    tmin = round(row["tmin_c"] + error, 1)
    hit = rng.random() > 0.2
    rain = round(row["rain_mm"] * float(rng.lognormal(0, 0.4)), 1) if hit else 0.0
    tmax = round(max(row["tmax_c"] + error, tmin + 1), 1)
    return {**row, "tmin_c": tmin, "tmax_c": tmax, "solar_mj_m2": "", "rain_mm": rain}


def _lots(gardens: list[DemoSite]) -> dict[str, object]:
    """The lots as outlines for the map."""
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {},
                "geometry": site.town(site.garden.lot).__geo_interface__,
            }
            for site in gardens
        ],
    }


def _write(path: Path, rows: Rows) -> None:
    """Rows to a CSV file; the columns are those of all rows, in order of first use."""
    columns = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerows(rows)


def demo_today(real_today: date) -> date:
    """The demo's Monday in the middle of the irrigation season, in the year of the given day."""
    day = date(real_today.year, 6, 15)
    return day - timedelta(days=day.weekday())
