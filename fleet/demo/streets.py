"""The street network of Alder Ford: as map layers, and as an OSM file for `build_streets`."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import quoteattr

import shapely
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from fleet.demo.ground_plan import (
    BRIDGES,
    DEPOT_M,
    EAST_M,
    NEIGHBOURHOODS,
    RIVER_WIDTH_M,
    STREET_M,
    WEST_M,
    YARD_M,
    Neighbourhood,
    blocks,
    lonlat,
    place,
    river,
    river_north_m,
    street_columns,
    street_rows,
)

BANK_ROAD_M = RIVER_WIDTH_M / 2 + 170.0  # of the arterials from the middle of the river


@dataclass(slots=True)
class Network:
    """Junctions [m] and ways between them; a way carries its class and its name."""

    nodes: list[tuple[float, float]] = field(default_factory=list)
    ways: list[tuple[list[int], str, str]] = field(default_factory=list)

    def add(self, east_m: float, north_m: float) -> int:
        """A new junction's number."""
        self.nodes.append((east_m, north_m))
        return len(self.nodes) - 1

    def nearest(self, point: tuple[float, float], among: list[int]) -> int:
        """The junction of the list that lies nearest to a point."""
        return min(
            among,
            key=lambda n: (self.nodes[n][0] - point[0]) ** 2 + (self.nodes[n][1] - point[1]) ** 2,
        )


def build_network() -> Network:
    """The whole network: bank roads, two bridges, and the streets of nine neighbourhoods tied to them."""
    network = Network()
    banks = {side: _bank_road(network, side) for side in (1, -1)}
    for east_m, name in BRIDGES:
        ends = [network.nearest((east_m, river_north_m(east_m) + s * BANK_ROAD_M), banks[s]) for s in (1, -1)]
        network.ways.append((ends, "secondary", name))
    for part in NEIGHBOURHOODS:
        _neighbourhood_streets(network, part, banks[1 if part.north_m > 0 else -1])
    for point, side in ((DEPOT_M, -1), (YARD_M, 1)):
        node = network.add(*point)
        network.ways.append(([node, network.nearest(point, banks[side])], "service", "Yard Road"))
    return network


def _bank_road(network: Network, side: int) -> list[int]:
    """The junctions of the arterial along one bank, with its way added."""
    nodes = []
    east_m = WEST_M
    while east_m <= EAST_M:
        nodes.append(network.add(east_m, river_north_m(east_m) + side * BANK_ROAD_M))
        east_m += 100.0
    network.ways.append((nodes, "secondary", "North Bank Road" if side > 0 else "South Bank Road"))
    return nodes


def _neighbourhood_streets(network: Network, part: Neighbourhood, bank: list[int]) -> None:
    """The grid of one neighbourhood and its ties to the bank road."""
    rows, columns = street_rows(part), street_columns(part)
    grid = []
    for north in rows:
        line = []
        for east in columns:
            point = place(part, shapely.Point(east, north))
            line.append(network.add(point.x, point.y))
        grid.append(line)
    for number, line in enumerate(grid):
        network.ways.append((line, "residential", part.streets[number % len(part.streets)]))
    for number in range(len(columns)):
        network.ways.append(
            ([line[number] for line in grid], "residential", f"{part.name} Cross {number + 1}")
        )
    facing = grid[0] if part.north_m > 0 else grid[-1]
    for node in (facing[0], facing[len(facing) // 2], facing[-1]):
        tie = network.nearest(network.nodes[node], bank)
        network.ways.append(([node, tie], "tertiary", f"{part.name} Road"))


def write_osm(network: Network, path: Path) -> None:
    """The network as an OSM file, as an operator would supply an extract."""
    lines = ["<?xml version='1.0' encoding='UTF-8'?>", '<osm version="0.6" generator="Alder Ford demo">']
    for number, (east_m, north_m) in enumerate(network.nodes, start=1):
        point = lonlat(shapely.Point(east_m, north_m))
        lines.append(f'<node id="{number}" version="1" lat="{point.y:.7f}" lon="{point.x:.7f}"/>')
    for number, (nodes, kind, name) in enumerate(network.ways, start=1):
        lines.append(f'<way id="{number}" version="1">')
        lines.extend(f'<nd ref="{node + 1}"/>' for node in nodes)
        lines.append(f'<tag k="highway" v="{kind}"/><tag k="name" v={quoteattr(name)}/></way>')
    lines.append("</osm>")
    path.write_text("\n".join(lines), encoding="utf-8")


def map_layers(network: Network) -> dict[str, object]:
    """The quiet layers of the town's map as GeoJSON collections by name."""
    built = [place(part, block) for part in NEIGHBOURHOODS for block in blocks(part)]
    lines: dict[str, list[BaseGeometry]] = {"streets": [], "arterials": [], "bridges": []}
    for nodes, kind, name in network.ways:
        line = shapely.LineString([network.nodes[node] for node in nodes])
        if name in {bridge for _, bridge in BRIDGES}:
            lines["bridges"].append(line)
        lines["arterials" if kind in {"secondary", "tertiary"} else "streets"].append(line)
    names: list[tuple[BaseGeometry, dict[str, str]]] = [
        (
            shapely.Point(
                part.east_m, part.north_m + (part.rows / 2 * 96 + 70) * (1 if part.north_m > 0 else -1)
            ),
            {"name": part.name, "kind": "area"},
        )
        for part in NEIGHBOURHOODS
    ]
    names.append((shapely.Point(-2300, river_north_m(-2300)), {"name": "River Wend", "kind": "water"}))
    names += [
        (shapely.Point(east_m + 40, river_north_m(east_m)), {"name": name, "kind": "place"})
        for east_m, name in BRIDGES
    ]
    names += [
        (shapely.Point(*DEPOT_M), {"name": "Depot", "kind": "place"}),
        (shapely.Point(*YARD_M), {"name": "Yard", "kind": "place"}),
    ]
    return {
        "blocks": _collection([(block, {}) for block in built]),
        "water": _collection([(river(), {})]),
        "streets": _collection([(line, {}) for line in lines["streets"]]),
        "arterials": _collection([(line, {}) for line in lines["arterials"]]),
        "bridges": _collection(
            [(line.buffer(STREET_M / 2, cap_style="flat").exterior, {}) for line in lines["bridges"]]
        ),
        "names": _collection(names),
    }


def _collection(shapes: list[tuple[BaseGeometry, dict[str, str]]]) -> dict[str, object]:
    """A GeoJSON FeatureCollection in lon/lat."""
    return {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "properties": properties, "geometry": mapping(lonlat(shape))}
            for shape, properties in shapes
        ],
    }
