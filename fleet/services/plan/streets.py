"""The street network of this installation, built from the operator's own extract."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final
from zipfile import BadZipFile

from fleet.streets.network import StreetNetwork, build_network, load_network, save_network
from fleet.streets.osm_file import UnreadableStreets, read_streets
from fleet.streets.store import network_path

# A network with fewer junctions than this share of the present one's does not replace it unasked.
LEAST_SHARE: Final = 0.5


@dataclass(frozen=True, slots=True)
class StreetsBuilt:
    """Size of a built network."""

    junctions: int
    pieces: int

    def summary(self) -> str:
        """One line for the end of a command."""
        return f"{self.junctions} junctions and {self.pieces} street pieces, all reachable from each other"


def build_streets(*, path: Path, data_dir: Path, anyway: bool = False) -> StreetsBuilt:
    """Build the network from an OSM extract and keep it in the data folder; raises `UnreadableStreets`.

    Parameters
    ----------
    path
        The extract.
    data_dir
        Folder of the network; a file that is refused leaves what is there.
    anyway
        Take a file that seems to be cut off, or that is much smaller than the present network of its area.
    """
    network = build_network(read_streets(path, anyway=anyway))
    if not anyway:
        _refuse_smaller(network, network_path(data_dir), path.name)
    save_network(network, network_path(data_dir))
    return StreetsBuilt(len(network.latitude), len(network.start))


def _refuse_smaller(network: StreetNetwork, present: Path, name: str) -> None:
    """Refuse a network with much fewer junctions than the present one, if that lies in the same area."""
    try:
        before = load_network(present, settle_s=0.0)
    except (BadZipFile, OSError, TypeError, ValueError):
        return  # what is there cannot be used
    if before is None or len(network.latitude) >= LEAST_SHARE * len(before.latitude):
        return
    is_near = (
        (before.latitude >= network.latitude.min())
        & (before.latitude <= network.latitude.max())
        & (before.longitude >= network.longitude.min())
        & (before.longitude <= network.longitude.max())
    )
    if is_near.any():
        raise UnreadableStreets(
            f"{name} gives {len(network.latitude)} junctions, the present network of that area has "
            f"{len(before.latitude)}; it stays"
        )
