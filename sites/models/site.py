"""A customer's property."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from sites.models.choices import RainFrom, Soil
from sites.models.geometry import Shaped


class Site(Shaped):
    """One customer's property: a point or the lot's polygon."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    address = models.CharField(max_length=200, blank=True)
    customer = models.CharField(max_length=120, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.CharField(max_length=120, blank=True)
    access_notes = models.TextField(blank=True)
    gate_code = models.CharField(max_length=40, blank=True)
    timezone = models.CharField(max_length=60)
    soil = models.CharField(max_length=20, choices=Soil.choices, blank=True)  # empty: not known
    slope_pct = models.FloatField(null=True, blank=True)
    rule_set = models.CharField(max_length=60, blank=True)  # code; the set may be imported later
    supplier = models.CharField(max_length=60, blank=True)
    visit_from = models.TimeField(null=True, blank=True)
    visit_to = models.TimeField(null=True, blank=True)
    # A point inside the site for distances and routes (lon/lat), also where the lot is a polygon.
    longitude = models.FloatField(null=True, blank=True)
    latitude = models.FloatField(null=True, blank=True)

    location = models.ForeignKey(
        "weather.Location", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    rain_location = models.ForeignKey(
        "weather.Location", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    # What somebody chose to tell the rain; where nobody did, the nearest gauge, the site's own first.
    rain_from = models.CharField(
        max_length=10, choices=RainFrom.choices, default=RainFrom.NEAREST, blank=True
    )
    rain_station = models.ForeignKey(
        "weather.Location", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    no_weather_reason = models.CharField(max_length=200, blank=True)

    imported_on = models.DateField()  # day of the first import: calendar needs wait for the day after
    stale_from = models.DateField(null=True, blank=True)  # balance to be computed again from this day on
    program_frozen = models.BooleanField(default=False)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(slope_pct__isnull=True) | Q(slope_pct__gte=0, slope_pct__lte=100),
                name="site_slope_plausible",
            ),
        ]
        indexes = [
            models.Index(
                fields=["min_lon", "max_lon", "min_lat", "max_lat"], name="site_by_box"
            ),  # map window
            models.Index(fields=["location"], name="site_by_location"),
        ]

    def __str__(self) -> str:
        return self.code
