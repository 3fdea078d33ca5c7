"""The timer on the wall, and the sensor that may block it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from sites.models.choices import Gating, StationOrder
from sites.models.geometry import Shaped
from sites.models.site import Site


class Controller(Shaped):
    """An irrigation timer: stations, programs, start times, and what it can and cannot do."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="controllers")
    code = models.CharField(max_length=40)
    station_count = models.PositiveSmallIntegerField()
    program_count = models.PositiveSmallIntegerField(default=3)
    starts_per_program = models.PositiveSmallIntegerField(default=4)
    max_run_min = models.PositiveSmallIntegerField(default=240)
    minute_step = models.PositiveSmallIntegerField(default=1)
    day_modes = models.CharField(max_length=80, default="weekdays,interval,odd,even")
    station_order = models.CharField(
        max_length=10, choices=StationOrder.choices, default=StationOrder.NUMERIC
    )
    # Above 1 only for a timer that runs two programs at the same time.
    stations_at_once = models.PositiveSmallIntegerField(default=1)
    flow_limit_l_min = models.FloatField(null=True, blank=True)  # that its supply gives, as somebody told
    governed = models.BooleanField(default=False)
    gating = models.CharField(max_length=10, choices=Gating.choices, default=Gating.ANY_TIME)
    # Names of the columns above that no file gave, separated by blanks.
    assumed = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["site_id", "code"]
        constraints = [
            models.UniqueConstraint(fields=["site", "code"], name="controller_once_a_site"),
            models.CheckConstraint(
                condition=Q(station_count__gte=1, station_count__lte=200), name="controller_has_stations"
            ),
            models.CheckConstraint(
                condition=Q(
                    program_count__gte=1, starts_per_program__gte=1, max_run_min__gte=1, minute_step__gte=1
                ),
                name="controller_counts_positive",
            ),
            models.CheckConstraint(
                condition=Q(stations_at_once__gte=1, stations_at_once__lte=4),
                name="controller_stations_at_once_1_to_4",
            ),
            models.CheckConstraint(
                condition=Q(flow_limit_l_min__isnull=True) | Q(flow_limit_l_min__gt=0),
                name="controller_flow_limit_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site_id}/{self.code}"


class Sensor(Shaped):
    """A soil moisture sensor; the zone in which it stands governs its controller."""

    controller = models.OneToOneField(Controller, on_delete=models.CASCADE, related_name="sensor")
    station = models.PositiveSmallIntegerField()  # of the governing zone
    depth_mm = models.FloatField(null=True, blank=True)
    threshold_kpa = models.FloatField(null=True, blank=True)
    threshold_steps_kpa = models.CharField(max_length=200, blank=True)  # `;`-separated, wettest first
    installed_on = models.DateField(null=True, blank=True)
    # What the last visit saw in its garden: good, evenly_dry, patchy, soggy.
    turf_seen = models.CharField(max_length=15, blank=True)
    turf_seen_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["controller_id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(threshold_kpa__isnull=True) | Q(threshold_kpa__gt=0),
                name="sensor_threshold_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"sensor of {self.controller_id}"

    @property
    def threshold_steps(self) -> tuple[float, ...]:
        """Settings that the unit offers [kPa], wettest first; empty where not known."""
        return tuple(float(step) for step in self.threshold_steps_kpa.split(";") if step.strip())
