"""Weather of the book: points are taken from the sites, pulled, and given back to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final

import numpy as np

from sites.models import Site
from sites.services.locations import LocationAssignment, assign_locations
from weather.models import Location
from weather.services.dropped_files import DroppedFiles, import_dropped_files
from weather.services.pull_weather import PullReport, pull_weather
from weather.sources.protocol import DailySource, Point

GRID_DEG: Final = 0.1


@dataclass(frozen=True, slots=True)
class SiteWeather:
    """What a run gave: dropped files, pulled days, and the sites' locations."""

    dropped: DroppedFiles
    pulled: PullReport
    assigned: LocationAssignment

    @property
    def problems(self) -> tuple[str, ...]:
        """Everything that went wrong."""
        return (*self.dropped.problems, *self.pulled.problems)

    def summary(self) -> str:
        """One line for the end of a command."""
        files = f"{len(self.dropped.reports)} dropped files; " if self.dropped.reports else ""
        lacking = len(self.assigned.without_weather)
        without = f" {lacking} sites without weather." if lacking else ""
        return f"{files}{self.pulled.summary()}{without}"


def grid_points(*, step_deg: float = GRID_DEG) -> list[Point]:
    """Return one point for each cell of the grid that holds a site, named after its position.

    Parameters
    ----------
    step_deg
        Width of a cell [deg].
    """
    placed = Site.objects.exclude(latitude=None).exclude(longitude=None)
    position = np.array(list(placed.values_list("latitude", "longitude")), dtype=np.float64).reshape(-1, 2)
    cells = np.unique(np.round(position / step_deg).astype(np.int64), axis=0)
    decimals = max(0, int(np.ceil(-np.log10(step_deg))))
    points = [
        (round(up * step_deg, decimals), round(aside * step_deg, decimals)) for up, aside in cells.tolist()
    ]
    names = {
        f"{latitude:.{decimals}f},{longitude:.{decimals}f}": (latitude, longitude)
        for latitude, longitude in points
    }
    heights = dict(Location.objects.filter(name__in=list(names)).values_list("name", "elevation_m"))
    return [
        Point(name, latitude, longitude, heights.get(name)) for name, (latitude, longitude) in names.items()
    ]


def points_in_batches(*, size: int) -> list[list[Point]]:
    """Return the points of the sites in batches of neighbours.

    Parameters
    ----------
    size
        Points in a batch, at most.
    """
    points = grid_points()
    return [points[left : left + size] for left in range(0, len(points), size)]


def scope_of(batch: Sequence[Point]) -> str:
    """Return the name of a batch: its first point, and how many follow."""
    return f"{batch[0].name} +{len(batch) - 1}"


def pull_site_weather(
    *, sources: Sequence[DailySource], folder: Path, today: date, now: datetime, days: int = 14
) -> SiteWeather:
    """Bring in dropped files, pull all points of the sites, and give each site its location.

    Parameters
    ----------
    sources
        Services to ask, in order.
    folder
        The drop folder.
    today, now
        The company's day, and the moment.
    days
        How many days back are asked for.
    """
    dropped = import_dropped_files(folder=folder, now=now)
    pulled = pull_weather(points=grid_points(), sources=sources, today=today, now=now, days=days)
    return SiteWeather(dropped, pulled, assign_locations())
