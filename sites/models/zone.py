"""The planted area that one station waters."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from sites.models.choices import Head, Plant, Soil, Sun
from sites.models.controller import Controller
from sites.models.geometry import Shaped


class Zone(Shaped):
    """A zone as the book knows it; null means not measured, and later stages mark what they assume."""

    controller = models.ForeignKey(Controller, on_delete=models.CASCADE, related_name="zones")
    station = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=120, blank=True)
    plant = models.CharField(max_length=20, choices=Plant.choices)
    head = models.CharField(max_length=20, choices=Head.choices)
    area_m2 = models.FloatField()
    precipitation_rate_mm_h = models.FloatField(null=True, blank=True)
    flow_l_min = models.FloatField(null=True, blank=True)
    distribution_uniformity = models.FloatField(null=True, blank=True)
    soil = models.CharField(max_length=20, choices=Soil.choices, blank=True)
    slope_pct = models.FloatField(null=True, blank=True)
    root_depth_mm = models.FloatField(null=True, blank=True)
    sun = models.CharField(max_length=10, choices=Sun.choices, default=Sun.FULL)
    landscape_coefficient = models.FloatField(null=True, blank=True)
    planted_on = models.DateField(null=True, blank=True)
    # What visits taught: dry zones get more, soggy ones less (programs: margin of this zone).
    margin_factor = models.FloatField(default=1.0)

    class Meta:
        ordering = ["controller_id", "station"]
        constraints = [
            models.UniqueConstraint(fields=["controller", "station"], name="zone_once_a_station"),
            models.CheckConstraint(condition=Q(area_m2__gt=0), name="zone_area_positive"),
            models.CheckConstraint(condition=Q(station__gte=1), name="zone_station_positive"),
            models.CheckConstraint(
                condition=Q(distribution_uniformity__isnull=True)
                | Q(distribution_uniformity__gt=0, distribution_uniformity__lte=1),
                name="zone_uniformity_in_0_1",
            ),
            models.CheckConstraint(
                condition=Q(precipitation_rate_mm_h__isnull=True) | Q(precipitation_rate_mm_h__gt=0),
                name="zone_precipitation_rate_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.controller_id}/{self.station}"
