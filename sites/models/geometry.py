"""The geometry column: WKB in lon/lat (EPSG:4326), the same on every database."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely
from django.db import models
from shapely.geometry.base import BaseGeometry

if TYPE_CHECKING:
    from django.db.backends.base.base import BaseDatabaseWrapper

    BytesField = models.BinaryField[bytes | None, bytes | None]
else:
    BytesField = models.BinaryField


class GeometryField(BytesField):
    """WKB bytes, so that whole tables go through `shapely.from_wkb`; takes a shapely geometry too."""

    description = "geometry as WKB, EPSG:4326"

    def from_db_value(
        self, value: object, expression: object, connection: BaseDatabaseWrapper
    ) -> bytes | None:
        """Plain bytes, whatever the driver hands out."""
        del expression, connection
        if value is None:
            return None
        return bytes(value) if not isinstance(value, memoryview) else value.tobytes()  # type: ignore[call-overload]

    def get_db_prep_value(
        self, value: object, connection: BaseDatabaseWrapper, prepared: bool = False
    ) -> object:
        """WKB of a shapely geometry, or the bytes given."""
        if isinstance(value, BaseGeometry):
            value = shapely.to_wkb(value, output_dimension=2)
        return super().get_db_prep_value(value, connection, prepared)


class Shaped(models.Model):
    """A row with a place: geometry and its bounding box, written together by the book service."""

    geometry = GeometryField(null=True, blank=True)
    min_lon = models.FloatField(null=True, blank=True)
    min_lat = models.FloatField(null=True, blank=True)
    max_lon = models.FloatField(null=True, blank=True)
    max_lat = models.FloatField(null=True, blank=True)

    class Meta:
        abstract = True

    @property
    def shape(self) -> BaseGeometry | None:
        """The geometry as a shapely object, or None where the book has none."""
        return shapely.from_wkb(self.geometry) if self.geometry is not None else None


def bounding_box(geometry: BaseGeometry | None) -> dict[str, float | None]:
    """The four box columns of a geometry, ready for a row."""
    if geometry is None or geometry.is_empty:
        return {"min_lon": None, "min_lat": None, "max_lon": None, "max_lat": None}
    min_lon, min_lat, max_lon, max_lat = geometry.bounds
    return {"min_lon": min_lon, "min_lat": min_lat, "max_lon": max_lon, "max_lat": max_lat}
