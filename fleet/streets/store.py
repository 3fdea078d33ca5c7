"""The one network of this installation, in the data folder."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from django.conf import settings as django_settings

from fleet.calc.visits.settings import VisitSettings
from fleet.streets.network import StreetNetwork, load_network
from fleet.streets.osrm import FirstThatAnswers, OsrmTravel
from fleet.streets.travel_source import EstimatedTravel, TravelSource
from fleet.streets.way_book import BookedTravel


def network_path(data_dir: Path) -> Path:
    """File of the built network in a data folder."""
    return data_dir / "streets" / "network.npz"


def way_book_path(data_dir: Path) -> Path:
    """File of the ways that were looked up; beside the streets, whose folder goes into backups."""
    return data_dir / "ways" / "book.npz"


def travel_source(*, settings: VisitSettings, data_dir: Path | None = None) -> TravelSource:
    """The operator's routing server where there is one, streets where a network was built, else estimates.

    Parameters
    ----------
    settings
        Speed and circuity of the estimates.
    data_dir
        Folder of the network; None: this installation's.
    """
    built = _built(settings, data_dir)
    url = str(django_settings.OSRM_URL)
    return FirstThatAnswers(OsrmTravel(url, settings.settle_s), built) if url else built


def _built(settings: VisitSettings, data_dir: Path | None) -> TravelSource:
    """The built network, else estimates."""
    path = network_path(data_dir or Path(django_settings.DATA_DIR))
    if not path.is_file():
        return EstimatedTravel(settings)
    file = path.stat()
    network = _kept(str(path), file.st_mtime_ns, settings.settle_s)
    if network is None:
        return EstimatedTravel(settings)
    version = f"{file.st_mtime_ns} {file.st_size} {settings.settle_s:g}"
    return BookedTravel(network, way_book_path(path.parent.parent), version)


@lru_cache(maxsize=1)
def _kept(path: str, changed_ns: int, settle_s: float) -> StreetNetwork | None:
    """The network in memory, read again when the file changes."""
    del changed_ns
    return load_network(Path(path), settle_s=settle_s)
