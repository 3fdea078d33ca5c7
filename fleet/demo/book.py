"""The company's book of sites: 240 invented gardens set on the streets of Alder Ford."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
import shapely
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from fleet.demo.gardens import DemoController, DemoGarden, DemoZone, build_garden, set_on_street
from fleet.demo.ground_plan import NEIGHBOURHOODS, Neighbourhood, blocks, lonlat, place

# A station that takes more has no supply that gives two at once [L/min].
_THIRSTIEST_L_MIN: Final = 95.0
LOT_DEPTH_M: Final = 39.0
TIMEZONE: Final = "America/Denver"
RULE_SETS: Final = {"Wend Valley Water": "wend-odd-even", "Hillside Mutual": "hillside-two-days"}
SURNAMES: Final = [
    "Okafor",
    "Brandt",
    "Castellan",
    "Dray",
    "Eskola",
    "Farrow",
    "Gantry",
    "Hollis",
    "Imber",
    "Jessop",
    "Kestle",
    "Lindqvist",
    "Marren",
    "Novak",
    "Orme",
    "Pellow",
    "Quill",
    "Rennard",
    "Sorrell",
    "Tamblyn",
    "Umber",
    "Vasko",
    "Wray",
    "Yarrow",
    "Zeller",
    "Aldous",
    "Birtle",
    "Corder",
    "Dunmore",
    "Ferris",
]
ACCESS_NOTES: Final = (
    "",
    "",
    "Dog in the back garden; ring first.",
    "Side gate sticks; lift the latch.",
    "Valve boxes under the shrubs.",
    "Park on the street, the drive is new.",
)
STEPS_KPA: Final = {
    "sand": (12.0, 14.0, 16.0, 20.0, 25.0),
    "loamy_sand": (14.0, 18.0, 22.0, 28.0, 35.0),
    "sandy_loam": (18.0, 22.0, 28.0, 35.0, 45.0),
    "loam": (25.0, 32.0, 40.0, 50.0, 60.0),
    "silt_loam": (28.0, 36.0, 45.0, 55.0, 65.0),
    "clay_loam": (32.0, 42.0, 55.0, 65.0, 75.0),
    "clay": (36.0, 48.0, 60.0, 72.0, 85.0),
}


@dataclass(frozen=True, slots=True)
class DemoSite:
    """One customer's garden with its place in town and the dates of its sensor."""

    code: str
    part: Neighbourhood
    number: int
    street: str
    customer: str
    garden: DemoGarden
    corner: tuple[float, float]  # of the lot, in town metres
    turn_deg: float
    sensor_since: date | None

    def town(self, shape: BaseGeometry) -> BaseGeometry:
        """A geometry of the lot, in lon/lat."""
        return lonlat(set_on_street(shape, corner=self.corner, turn_deg=self.turn_deg))


def invent_sites(rng: np.random.Generator, *, count: int, today: date) -> list[DemoSite]:
    """`count` gardens, spread evenly over the neighbourhoods; a fifth of them never got a sensor."""
    sites = []
    for index, part in enumerate(NEIGHBOURHOODS):
        share = count // len(NEIGHBOURHOODS) + (1 if index < count % len(NEIGHBOURHOODS) else 0)
        places = _lots(part)
        chosen = sorted(rng.choice(len(places), size=min(share, len(places)), replace=False))
        for running, position in enumerate(chosen, start=1):
            sites.append(_site(rng, part, running, places[int(position)], today))
    return sites


def _lots(part: Neighbourhood) -> list[tuple[float, float, float, float, int]]:
    """(east, north, turn [deg], width, row) of each lot's street corner, in the neighbourhood's own frame."""
    lots = []
    for number, block in enumerate(blocks(part)):
        west, south, east, north = block.bounds
        row = number // part.columns
        widths = (30.0, 26.0, 32.0, 28.0, 29.0, 27.0)
        at = west + 1.0
        for width in widths:
            if at + width > east:
                break
            lots.append((at, south + 0.5, 0.0, width, row))
            lots.append((at + width, north - 0.5, 180.0, width, row + 1))
            at += width + 0.5
    return lots


def _site(
    rng: np.random.Generator,
    part: Neighbourhood,
    running: int,
    lot: tuple[float, float, float, float, int],
    today: date,
) -> DemoSite:
    """One garden on its lot."""
    east, north, turn, width, row = lot
    corner = place(part, shapely.Point(east, north))
    has_sensor = bool(rng.random() < 0.8)
    # Installed in the second of the three years of meter reads.
    since = today - timedelta(days=int(rng.integers(430, 720))) if has_sensor else None
    surname = SURNAMES[int(rng.integers(len(SURNAMES)))]
    return DemoSite(
        code=f"{part.code}-{running:02d}",
        part=part,
        number=int(rng.integers(1, 60)) * 2 - (1 if turn == 0.0 else 0),
        street=part.streets[row % len(part.streets)],
        customer=f"{chr(65 + int(rng.integers(26)))}. {surname}",
        garden=build_garden(
            rng, width_m=width, depth_m=LOT_DEPTH_M, has_sensor=has_sensor, messy=bool(rng.random() < 0.05)
        ),
        corner=(corner.x, corner.y),
        turn_deg=turn + part.turn_deg,
        sensor_since=since,
    )


def book_collection(rng: np.random.Generator, sites: list[DemoSite]) -> dict[str, object]:
    """The book as one GeoJSON collection in the contract's form."""
    features: list[dict[str, object]] = []
    for site in sites:
        features += _site_features(rng, site)
    return {"type": "FeatureCollection", "features": features}


def _feature(site: DemoSite, kind: str, shape: BaseGeometry | None, **columns: object) -> dict[str, object]:
    """One GeoJSON feature of a site; empty columns are left out."""
    properties = {"kind": kind, "site": site.code, **{k: v for k, v in columns.items() if v is not None}}
    geometry = mapping(site.town(shape)) if shape is not None else None
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def _site_features(rng: np.random.Generator, site: DemoSite) -> list[dict[str, object]]:
    """All features of one site."""
    has_gate = rng.random() < 0.35
    notes = rng.choice(ACCESS_NOTES)
    features = [
        _feature(
            site,
            "site",
            site.garden.lot,
            name=f"{site.customer.split()[-1]} garden",
            address=f"{site.number} {site.street}",
            customer=site.customer,
            phone=f"555-01{int(rng.integers(100)):02d}",
            access_notes=str(notes) or None,
            gate_code=f"{int(rng.integers(10000)):04d}" if has_gate else None,
            timezone=TIMEZONE,
            soil=site.part.soil,
            slope_pct=site.part.slope_pct,
            rule_set=RULE_SETS[site.part.supplier],
            supplier=site.part.supplier,
            visit_from="08:00",
            visit_to="17:00",
        )
    ]
    features += [_feature(site, "structure", shape, type=kind) for kind, shape in site.garden.structures]
    features += [
        _feature(site, "valve_box", spot, name=name, spare_wires=spare)
        for name, spot, spare in site.garden.boxes
    ]
    features += [_feature(site, kind, spot) for kind, spot in site.garden.fixtures]
    for controller in site.garden.controllers:
        features.append(
            _feature(
                site,
                "controller",
                controller.spot,
                controller=controller.code,
                station_count=max(6, len(controller.zones)),
                station_order=controller.station_order,
                **_supply(site, controller),
                governed=controller.sensor_spot is not None,
                gating=controller.gating,
                program_count=3,
                starts_per_program=4,
            )
        )
        features += [
            _feature(
                site,
                "zone",
                zone.shape,
                controller=controller.code,
                station=zone.station,
                name=zone.name,
                plant=zone.plant,
                head=zone.head,
                sun=zone.sun,
                precipitation_rate_mm_h=zone.true_rate_mm_h if zone.rate_known else None,
                distribution_uniformity=zone.true_uniformity if zone.rate_known else None,
                root_depth_mm=_root_depth_mm(rng, zone),
            )
            for zone in controller.zones
        ]
        if controller.sensor_spot is not None:
            steps = STEPS_KPA[site.part.soil]
            features.append(
                _feature(
                    site,
                    "sensor",
                    controller.sensor_spot,
                    controller=controller.code,
                    station=controller.sensor_station,
                    depth_mm=100,
                    threshold_kpa=steps[int(rng.integers(1, 4))],
                    threshold_steps_kpa=";".join(f"{step:g}" for step in steps),
                    installed_on=site.sensor_since.isoformat() if site.sensor_since else None,
                )
            )
            features.append(
                _feature(site, "wire", controller.wire, conductors=5, spare=int(rng.integers(0, 3)))
            )
    features += [
        _feature(site, "sprinkler", spot, controller=code, station=station)
        for code, station, spot in site.garden.sprinklers
    ]
    return features


def _supply(site: DemoSite, controller: DemoController) -> dict[str, float]:
    """Some newer timers run two stations at once, from a supply that somebody measured at the meter."""
    most = max(zone.true_rate_mm_h * zone.shape.area / 60.0 for zone in controller.zones)
    if controller.station_order != "free" or most > _THIRSTIEST_L_MIN:
        return {}
    return {"stations_at_once": 2, "flow_limit_l_min": 100.0 + 5.0 * (site.number % 4)}


def _root_depth_mm(rng: np.random.Generator, zone: DemoZone) -> float | None:
    """Root depth where somebody probed the lawn [mm]."""
    if not zone.plant.endswith("turf") or rng.random() >= 0.4:
        return None
    return float(rng.choice([120, 150, 180]))
