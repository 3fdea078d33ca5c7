"""The one network of this installation, in the data folder."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from django.conf import settings

from fleet.calc.visit_settings import VisitSettings
from fleet.streets.network import StreetNetwork, build_network, load_network, save_network
from fleet.streets.osm_file import read_streets
from fleet.streets.travel_source import EstimatedTravel, TravelSource


def network_path() -> Path:
    """File of the built network."""
    return Path(settings.DATA_DIR) / "streets" / "network.npz"


def build_streets(*, source: Path) -> StreetNetwork:
    """Build the network from an OSM extract and keep it; raises `UnreadableStreets`."""
    network = build_network(read_streets(source))
    save_network(network, network_path())
    return network


def travel_source(*, settings: VisitSettings) -> TravelSource:
    """Streets where a network was built, else estimates."""
    path = network_path()
    if not path.is_file():
        return EstimatedTravel(settings)
    network = _kept(str(path), path.stat().st_mtime_ns, settings.settle_s)
    return network if network is not None else EstimatedTravel(settings)


@lru_cache(maxsize=1)
def _kept(path: str, changed_ns: int, settle_s: float) -> StreetNetwork | None:
    """The network in memory, read again when the file changes."""
    del changed_ns
    return load_network(Path(path), settle_s=settle_s)
