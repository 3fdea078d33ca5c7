"""The street network of this installation, built from the operator's own extract."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fleet.streets.network import build_network, save_network
from fleet.streets.osm_file import read_streets
from fleet.streets.store import network_path


@dataclass(frozen=True, slots=True)
class StreetsBuilt:
    """Size of a built network."""

    junctions: int
    pieces: int

    def summary(self) -> str:
        """One line for the end of a command."""
        return f"{self.junctions} junctions and {self.pieces} street pieces, all reachable from each other"


def build_streets(*, path: Path, data_dir: Path) -> StreetsBuilt:
    """Build the network from an OSM extract and keep it in the data folder; raises `UnreadableStreets`."""
    network = build_network(read_streets(path))
    save_network(network, network_path(data_dir))
    return StreetsBuilt(len(network.latitude), len(network.start))
