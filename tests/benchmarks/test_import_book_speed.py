"""Time and memory to bring a site book in, to repeat it, and to take it out. Prints figures only."""

from __future__ import annotations

import json
import resource
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from sites.exports.book import features as exported
from sites.models import Change, Zone
from tests.sites.importing.book_files import Feature, bring_in, write_geojson

GARDENS_A_ROW = 100
LOT_DEG = 0.0005


def square(west: float, south: float, side: float) -> list[list[list[float]]]:
    """A square in steps of 1e-8 degrees."""
    ring = [
        (west, south),
        (west + side, south),
        (west + side, south + side),
        (west, south + side),
        (west, south),
    ]
    return [[[round(x, 8), round(y, 8)] for x, y in ring]]


def gardens(count: int) -> Iterator[Feature]:
    """Sites with a lot, 1.2 controllers and 6 zones each, every second one with a sensor."""
    rng = np.random.default_rng(7)
    for number in range(count):
        west = -104.7 + (number % GARDENS_A_ROW) * LOT_DEG * 1.2
        south = 41.0 + (number // GARDENS_A_ROW) * LOT_DEG * 1.2
        site = f"S-{number:05d}"
        yield one(
            "site", "Polygon", square(west, south, LOT_DEG), site=site, name=f"garden {number}", soil="loam"
        )
        timers = ["A", "B"] if number % 5 == 0 else ["A"]
        for timer in timers:
            yield one("controller", "Point", [west, south], site=site, controller=timer, station_count=6)
        for zone in range(6):
            corner = (west + LOT_DEG * (0.05 + 0.15 * zone), south + LOT_DEG * 0.1)
            yield one(
                "zone",
                "Polygon",
                square(*corner, LOT_DEG * 0.12),
                site=site,
                controller=timers[zone % len(timers)],
                station=zone + 1,
                plant="cool_turf",
                head="rotor",
                precipitation_rate_mm_h=round(float(rng.uniform(8, 16)), 1),
            )
        if number % 2 == 0:
            place = [west + LOT_DEG * 0.1, south + LOT_DEG * 0.15]
            yield one("sensor", "Point", place, site=site, controller="A", station=1, threshold_kpa=42)


def one(kind: str, shape: str, coordinates: object, **properties: object) -> Feature:
    """A feature."""
    return {
        "type": "Feature",
        "properties": {"kind": kind, **properties},
        "geometry": {"type": shape, "coordinates": coordinates},
    }


@pytest.mark.benchmark
@pytest.mark.django_db
@pytest.mark.parametrize("sites", [1_000, 10_000])
def test_a_book_comes_in_is_repeated_and_leaves(tmp_path: Path, sites: int) -> None:
    path = write_geojson(tmp_path / "book.geojson", list(gardens(sites)))
    began = time.perf_counter()
    report = bring_in(path)
    first = time.perf_counter() - began
    assert report.problems == ()

    began = time.perf_counter()
    again = bring_in(path)
    second = time.perf_counter() - began
    assert (again.added, again.changed) == (0, 0)

    began = time.perf_counter()
    written = sum(len(json.dumps(feature)) for feature in exported(private=True))
    out = time.perf_counter() - began

    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    size_mb = path.stat().st_size / 1e6
    print(  # noqa: T201
        f"{sites:,} sites, {Zone.objects.count():,} zones, {size_mb:.0f} MB: first {first:.1f} s, "
        f"again {second:.1f} s, out {out:.1f} s ({written / 1e6:.0f} MB); "
        f"{Change.objects.count():,} changes kept; peak {peak_mb:.0f} MB"
    )
