"""The exported book against RFC 7946 (Butler et al. 2016): sections 3.1.1, 3.1.6, 3.3 and 4."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import shapely

from sites.exports.book import features
from tests.sites.importing.book_files import bring_in, small_book, write_geojson

pytestmark = pytest.mark.django_db


def rings_of(geometry: dict[str, Any]) -> list[list[list[list[float]]]]:
    """Polygons of a geometry as lists of rings."""
    if geometry["type"] == "Polygon":
        return [geometry["coordinates"]]
    return geometry["coordinates"] if geometry["type"] == "MultiPolygon" else []


def test_features_are_plain_wgs84_with_closed_right_handed_rings(tmp_path: Path) -> None:
    book = small_book()
    lot = next(one for one in book if one["properties"]["kind"] == "structure")
    outer, inner = (2, 2, 3, 3), (2.4, 2.4, 2.6, 2.6)
    ring = [
        [[-104.7 + x * 1e-4, 41.2 + y * 1e-4] for x, y in ((w, s), (e, s), (e, n), (w, n), (w, s))]
        for w, s, e, n in (outer, inner)
    ]
    lot["geometry"]["coordinates"] = [ring[0], ring[1][::-1]]
    assert bring_in(write_geojson(tmp_path / "book.geojson", book)).problems == ()

    told = json.loads(json.dumps(list(features(private=True))))

    assert len(told) == len(book)
    for one in told:
        assert set(one) == {"type", "properties", "geometry"}
        assert one["type"] == "Feature"
        if one["geometry"] is None:
            continue
        shape = shapely.geometry.shape(one["geometry"])
        west, south, east, north = shape.bounds
        assert -180 <= west <= east <= 180
        assert -90 <= south <= north <= 90
        assert not shape.has_z
        for polygon in rings_of(one["geometry"]):
            for at, positions in enumerate(polygon):
                assert positions[0] == positions[-1]
                assert len(positions) >= 4
                assert shapely.is_ccw(shapely.LinearRing(positions)) == (at == 0)
