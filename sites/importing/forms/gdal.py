"""The only door to GDAL: which drivers it may have, and how much it may read.

GDAL chooses a driver by a file's content. Its virtual formats are small texts that make it open any other
file of the server, so they are switched off before GDAL is loaded, and what it gets was looked at before.
Whoever needs geopandas or pyogrio asks `load_pyogrio` or `load_geopandas` here.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import numpy as np
import shapely

from sites.calc.geometry.areas import Geometries, as_array

FORBIDDEN_DRIVERS = (
    *("OGR_VRT", "VRT", "GTI", "DERIVED", "GDALG", "WMS", "WMTS", "WCS"),
    *("HTTP", "WFS", "OAPIF", "OGCAPI", "CSW", "EEDA", "EEDAI", "PLSCENES", "NGW"),
    *("Carto", "AmigoCloud", "Elasticsearch", "ADBC"),
)
"""Formats that point at other files or at the network."""

os.environ["GDAL_SKIP"] = ",".join(FORBIDDEN_DRIVERS)

Value = str | int | float | bool | None


class ReaderNotSafe(RuntimeError):
    """GDAL was loaded by somebody else, with its virtual formats on."""


class LayerNotReadable(ValueError):
    """GDAL cannot read this file, or it holds more than the limit."""


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a file: its name, the reference system it declares, its rows and their shapes.

    Parameters
    ----------
    name
        Name of the layer.
    crs
        Declared reference system; None where the file declares none.
    columns
        Names of the columns.
    rows
        Values of each row in the order of the columns; None where a cell is empty.
    geometries
        Shapes in the declared system, (rows,).
    """

    name: str
    crs: str | None
    columns: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]
    geometries: Geometries

    def __post_init__(self) -> None:
        if len(self.rows) != len(self.geometries):
            raise ValueError("each row of a layer has its shape or None")


def load_pyogrio() -> ModuleType:
    """The reader, with no virtual format and no network format in it.

    Raises
    ------
    ReaderNotSafe
        It was imported before this module could switch them off.
    """
    import pyogrio

    if "OGR_VRT" in pyogrio.list_drivers():
        raise ReaderNotSafe(
            "GDAL was loaded with virtual formats on: import sites.importing.forms.gdal before geopandas"
        )
    reader: ModuleType = pyogrio
    return reader


def load_geopandas() -> ModuleType:
    """The frames library, loaded behind the same door."""
    load_pyogrio()
    import geopandas

    return geopandas


def read_layers(path: Path, *, row_limit: int) -> list[Layer]:
    """Every layer of a file that was looked at before.

    Parameters
    ----------
    path
        The file, under a name whose ending fits its content.
    row_limit
        Most rows that all layers together may have.

    Raises
    ------
    LayerNotReadable
        GDAL finds no layer in it, cannot decode it, or there are too many rows.
    """
    pyogrio = load_pyogrio()
    try:
        names = [str(name) for name, _ in pyogrio.list_layers(path)]
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise LayerNotReadable("the file cannot be opened as what its name says") from error
    layers: list[Layer] = []
    left = row_limit
    for name in names:
        layer = _read_layer(pyogrio, path, name, left + 1)
        left -= len(layer.rows)
        if left < 0:
            raise LayerNotReadable(f"more than {row_limit:,} rows")
        layers.append(layer)
    return layers


def _read_layer(pyogrio: ModuleType, path: Path, name: str, row_limit: int) -> Layer:
    """One layer, at most row_limit rows of it."""
    failures = (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError,
        pyogrio.errors.GeometryError,
        shapely.errors.GEOSException,
        UnicodeDecodeError,
    )
    try:
        meta, _, wkb, data = pyogrio.raw.read(path, layer=name, max_features=row_limit)
        count = len(data[0]) if data else 0
        shapes = as_array([None] * count) if wkb is None else shapely.from_wkb(wkb)
    except failures as error:
        raise LayerNotReadable(f"layer {name!r} cannot be read: {error}") from error
    columns = [[_plain(value) for value in column] for column in data]
    rows = tuple(zip(*columns, strict=True)) if columns else tuple(() for _ in range(len(shapes)))
    return Layer(
        name=name,
        crs=meta["crs"],
        columns=tuple(str(field) for field in meta["fields"]),
        rows=rows,
        geometries=np.asarray(shapes, dtype=object),
    )


def _plain(value: object) -> Value:
    """A cell as plain Python; what GDAL uses for an empty cell becomes None."""
    if value is None or value is np.ma.masked:
        return None
    if isinstance(value, np.datetime64):
        return (
            None if np.isnat(value) else str(value.astype("datetime64[D]") if _is_midnight(value) else value)
        )
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return None if np.isnan(value) else value
    return value if isinstance(value, (str, int, bool)) else str(value)


def _is_midnight(moment: np.datetime64) -> bool:
    """Whether a moment is the start of a day, as dates without time come."""
    return bool(moment == moment.astype("datetime64[D]"))
