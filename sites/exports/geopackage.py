"""Features as a GeoPackage: one layer a kind, in WGS 84."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry import shape

from sites.importing.forms.gdal import load_pyogrio


def write_geopackage(*, path: Path, features: Iterable[dict[str, object]]) -> dict[str, int]:
    """Write features into a new GeoPackage, a layer for each `properties.kind`; how many each layer has.

    Parameters
    ----------
    path
        File to write; an older one is replaced.
    features
        GeoJSON features in WGS 84.
    """
    pyogrio = load_pyogrio()
    layers: dict[str, list[dict[str, object]]] = {}
    for feature in features:
        properties = feature["properties"]
        kind = str(properties["kind"]) if isinstance(properties, dict) else ""
        layers.setdefault(kind, []).append(feature)
    path.unlink(missing_ok=True)
    for kind, members in layers.items():
        rows = [
            {name: value for name, value in properties.items() if name != "kind"}
            for member in members
            if isinstance(properties := member["properties"], dict)
        ]
        names = list(dict.fromkeys(name for row in rows for name in row))
        wkb = [_wkb(member["geometry"]) for member in members]
        pyogrio.raw.write(
            path,
            np.array(wkb, dtype=object),
            [_column([row.get(name) for row in rows]) for name in names],
            fields=np.array(names, dtype=object),
            layer=kind,
            driver="GPKG",
            geometry_type="Unknown",
            crs="EPSG:4326",
            append=path.exists(),
        )
    return {kind: len(members) for kind, members in layers.items()}


def _wkb(geometry: object) -> bytes | None:
    """A GeoJSON geometry as WKB."""
    return shapely.to_wkb(shape(geometry)) if isinstance(geometry, dict) else None


def _column(values: list[object]) -> np.ndarray[tuple[int], np.dtype[np.float64] | np.dtype[np.object_]]:
    """A column as numbers where it has nothing else, as text otherwise; empty cells stay empty."""
    known = [value for value in values if value is not None]
    if known and all(isinstance(value, (int, float)) and not isinstance(value, bool) for value in known):
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    words = [None if value is None else _word(value) for value in values]
    return np.array(words, dtype=object)


def _word(value: object) -> str:
    """A value as text."""
    return str(value).lower() if isinstance(value, bool) else str(value)
