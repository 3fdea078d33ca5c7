"""An invented company of 30 gardens on the real weather of two stations, as a folder of the contract's files.

Weather: Maricopa AZ (hot desert) and McLean County IL (humid), public station data, see tests/data/README.md.
All else is invented.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

DATA = Path(__file__).parents[1] / "data" / "weather"
TODAY = date(2015, 7, 20)  # a Monday inside both records
FIRST_DAY = date(2012, 7, 1)
LOG_DAYS = 75
BLOCKED_SINCE = date(2015, 6, 15)  # from here on the sensor of each place's second garden lets nothing run
Row = dict[str, object]


@dataclass(frozen=True, slots=True)
class Place:
    """A station, and the gardens round it."""

    name: str
    latitude: float
    longitude: float
    elevation_m: float
    timezone: str
    wind_height_m: float
    file: str
    gardens: int


PLACES = (
    Place("Maricopa", 33.069, -111.972, 361.0, "America/Phoenix", 3.0, "maricopa_az_2003_2020_daily.csv", 20),
    Place("McLean", 40.491, -88.9, 256.0, "America/Chicago", 10.0, "mclean_il_2015_daily.csv", 10),
)


def write_company(folder: Path) -> Path:
    """All files of the company; the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    weather = {place.name: list(_weather(place)) for place in PLACES}
    _csv(folder / "weather.csv", [row for rows in weather.values() for row in rows])
    (folder / "book.geojson").write_text(json.dumps(_book()), encoding="utf-8")
    (folder / "rules.json").write_text(json.dumps(_rules()), encoding="utf-8")
    _csv(folder / "programs.csv", _programs())
    _csv(folder / "bypass.csv", _bypass(weather))
    _csv(folder / "meter.csv", _meter())
    _csv(folder / "tariffs.csv", [_tariff("Desert Water", 1.4), _tariff("Prairie Water", 2.1)])
    _csv(folder / "technicians.csv", _technicians())
    _csv(folder / "visits.csv", [_visit()])
    return folder


def gardens() -> Iterable[tuple[str, Place, int]]:
    """Code, place and number of each garden."""
    for place in PLACES:
        for number in range(place.gardens):
            yield f"{place.name[:2].upper()}-{number + 1:02}", place, number


def _weather(place: Place) -> Iterable[Row]:
    """Measured days up to yesterday in the contract's columns."""
    with (DATA / place.file).open(newline="") as file:
        for row in csv.DictReader(file):
            if not FIRST_DAY <= date.fromisoformat(row["date"]) < TODAY:
                continue
            wind = row.get("wind_3m_m_s") or row.get("wind_10m_m_s")
            yield {
                "location": place.name,
                "latitude": place.latitude,
                "longitude": place.longitude,
                "elevation_m": place.elevation_m,
                "date": row["date"],
                "tmin_c": row["tmin_c"],
                "tmax_c": row["tmax_c"],
                "tdew_c": row.get("tdew_c", ""),
                "rh_min_pct": row["rhmin_pct"] if "tdew_c" not in row else "",
                "rh_max_pct": row["rhmax_pct"] if "tdew_c" not in row else "",
                "wind_m_s": wind,
                "wind_height_m": place.wind_height_m,
                "solar_mj_m2": row.get("solar_mj_m2_d") or row.get("solar_mj_m2"),
                "rain_mm": row["rain_mm"],
            }


def _book() -> Row:
    """Sites, controllers, two zones each, and a sensor in three of four gardens."""
    features: list[Row] = []
    for code, place, number in gardens():
        lon = place.longitude + 0.006 * (number % 5 - 2)
        lat = place.latitude + 0.005 * (number // 5 - 2)
        supplier, rules = (
            ("Desert Water", "night") if place.name == "Maricopa" else ("Prairie Water", "odd-even")
        )
        soil = ("clay_loam", "sandy_loam", "loam")[number % 3]
        features += [
            _feature(
                _point(lon, lat),
                kind="site",
                site=code,
                name=f"Garden {code}",
                address=f"{number + 1} Invented Way",
                timezone=place.timezone,
                soil=soil,
                rule_set=rules,
                supplier=supplier,
            ),
            _feature(
                _point(lon, lat), kind="controller", site=code, controller="A", station_count=6, governed=True
            ),
        ]
        for station, plant in ((1, "shrubs"), (2, "warm_turf" if place.name == "Maricopa" else "cool_turf")):
            features.append(
                _feature(
                    _square(lon + 0.0003 * station, lat),
                    kind="zone",
                    site=code,
                    controller="A",
                    station=station,
                    plant=plant,
                    head="rotor" if station == 2 else "fixed_spray",
                )
            )
        if number % 4:
            features.append(
                _feature(
                    _point(lon + 0.0006 + 0.00008, lat + 0.00008),
                    kind="sensor",
                    site=code,
                    controller="A",
                    station=2,
                    depth_mm=100,
                    threshold_kpa=40,
                    threshold_steps_kpa="20;30;40;60",
                    installed_on="2014-04-01",
                )
            )
    return {"type": "FeatureCollection", "features": features}


def _feature(geometry: Row, **properties: object) -> Row:
    """One thing of the book."""
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _point(lon: float, lat: float) -> Row:
    """A point."""
    return {"type": "Point", "coordinates": [round(lon, 6), round(lat, 6)]}


def _square(lon: float, lat: float, side: float = 0.00016) -> Row:
    """A square some 15 to 18 m wide."""
    ring = [[lon, lat], [lon + side, lat], [lon + side, lat + side], [lon, lat + side], [lon, lat]]
    return {"type": "Polygon", "coordinates": [[[round(x, 6), round(y, 6)] for x, y in ring]]}


def _rules() -> Row:
    """A night window, and odd and even days."""
    night = {"name": "night", "from": "2010-01-01", "windows": ["20:00-09:00"]}
    days = [
        {"name": word, "from": "2010-01-01", "address_rule": word, "dates": word, "windows": ["18:00-10:00"]}
        for word in ("odd", "even")
    ]
    return {
        "rule_sets": [
            {"rule_set": "night", "supplier": "Desert Water", "stages": [night]},
            {"rule_set": "odd-even", "supplier": "Prairie Water", "stages": days},
        ]
    }


def _programs() -> list[Row]:
    """The same two starts every day in every garden."""
    return [
        {
            "site": code,
            "controller": "A",
            "program": "A",
            "days": "daily",
            "starts": "04:00;06:00",
            "station": station,
            "run_min": minutes,
            "as_of": "2014-04-01",
        }
        for code, _, _ in gardens()
        for station, minutes in ((1, 6), (2, 24))
    ]


def _bypass(weather: dict[str, list[Row]]) -> list[Row]:
    """Daily logs of a plain invented sensor: it blocks until 12 mm are missing; two block everything."""
    rows: list[Row] = []
    for code, place, number in gardens():
        if not number % 4:
            continue
        missing = 6.0
        for day in weather[place.name][-LOG_DAYS:]:
            missing = max(0.0, missing + 5.0 - float(str(day["rain_mm"] or 0)))
            stuck = number == 1 and date.fromisoformat(str(day["date"])) >= BLOCKED_SINCE
            runs = 0 if stuck or missing < 12 else 2
            missing = max(0.0, missing - 5.0 * runs)
            rows.append(
                {
                    "site": code,
                    "controller": "A",
                    "date": day["date"],
                    "starts_scheduled": 2,
                    "starts_bypassed": 2 - runs,
                    "method": "logger",
                }
            )
    return rows


def _meter() -> list[Row]:
    """Monthly volumes of every irrigation meter for a year and a half."""
    rows: list[Row] = []
    for code, _, number in gardens():
        start = date(2014, 1, 1)
        while start < TODAY - timedelta(days=30):
            end = (start.replace(day=1) + timedelta(days=32)).replace(day=1)
            warm = max(0.0, 6 - abs(start.month - 7)) / 6
            rows.append(
                {
                    "site": code,
                    "start": start,
                    "end": end,
                    "volume": round(4 + (30 + number) * warm, 1),
                    "unit": "m3",
                }
            )
            start = end
    return rows


def _tariff(supplier: str, price: float) -> Row:
    """One price."""
    return {"supplier": supplier, "from": "2010-01-01", "price_per_m3": price, "currency": "USD"}


def _technicians() -> list[Row]:
    """Two people at each place."""
    return [
        {
            "technician": f"{place.name[:2].upper()}{number}",
            "name": name,
            "start_latitude": place.latitude,
            "start_longitude": place.longitude,
            "shift_start": "07:00" if place.name == "Maricopa" else "06:00",
            "shift_end": "15:30" if place.name == "Maricopa" else "14:00",
            "workdays": "mon,tue,wed,thu,fri",
            "skills": "wiring;audit" if number == 1 else "audit",
            "break_min": 30,
        }
        for place, names in zip(PLACES, (("Ana Reed", "Bo Lind"), ("Cy Marsh", "Di Thorn")), strict=True)
        for number, name in enumerate(names, start=1)
    ]


def _visit() -> Row:
    """A promised window on Tuesday."""
    return {
        "site": "MA-05",
        "kind": "complaint",
        "earliest": "2015-07-21T09:00",
        "latest": "2015-07-21T11:00",
        "value_per_day": 25,
        "note": "dry patch told by the customer",
    }


def _csv(path: Path, rows: list[Row]) -> None:
    """Rows to a file."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
