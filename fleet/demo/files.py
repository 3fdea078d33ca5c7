"""The invented company as a folder of the contract's files: everything comes from a seed."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Final

import numpy as np

from fleet.demo.book import DemoSite, book_collection, invent_sites
from fleet.demo.office import contract_rows, rules, tariff_rows, technician_rows, visit_rows
from fleet.demo.records import invent_records
from fleet.demo.sky import LOCATIONS, Sky, invent_sky
from fleet.demo.streets import build_network, map_layers, write_osm

Rows = list[dict[str, object]]
# Days before today on which the hill's station was silent; its record is filled from the others.
GAP_BACK_D: Final = (51, 50, 49, 48)
FORECAST_DAYS: Final = 7


@dataclass(frozen=True, slots=True)
class DemoFiles:
    """Where the files lie, and what no contract file carries."""

    folder: Path
    layers: dict[str, object]
    contracts: Rows
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
    _write(folder / "weather.csv", weather_rows(rng, sky, today=today))
    records = invent_records(rng, gardens, sky, today=today)
    _write(folder / "programs.csv", records.programs)
    _write(folder / "bypass.csv", records.bypass)
    _write(folder / "meter.csv", records.meter)
    _write(folder / "readings.csv", records.readings)
    _write(folder / "planted_faults.csv", records.truth)
    _write(folder / "technicians.csv", technician_rows())
    _write(folder / "tariffs.csv", tariff_rows(today))
    _write(folder / "visits.csv", visit_rows(rng, gardens, today=today))
    (folder / "rules.json").write_text(json.dumps(rules(today), indent=1), encoding="utf-8")
    network = build_network()
    write_osm(network, folder / "streets.osm")
    layers = map_layers(network)
    layers["lots"] = _lots(gardens)
    return DemoFiles(
        folder=folder,
        layers=layers,
        contracts=contract_rows(rng, gardens, today=today),
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
            if lead >= 0:
                error = float(rng.normal(0, 0.8 + 0.25 * lead))
                row["tmin_c"] = round(row["tmin_c"] + error, 1)
                row["tmax_c"] = round(max(row["tmax_c"] + error, row["tmin_c"] + 1), 1)
                row["solar_mj_m2"] = ""
                hit = rng.random() > 0.2
                row["rain_mm"] = round(row["rain_mm"] * float(rng.lognormal(0, 0.4)), 1) if hit else 0.0
            rows.append(row)
    return rows


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
