"""The season's calendar by location, and what suppliers ask of backflow assemblies."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class LocationSeason(models.Model):
    """Frost dates of one location as they stood on a day: days of the year, one a season."""

    location = models.OneToOneField("weather.Location", on_delete=models.CASCADE, related_name="season")
    computed_on = models.DateField()
    first_day = models.DateField()
    # threshold -> {"spring": [[year, day of the year or null], ...], "autumn": ...}
    freezes = models.JSONField(default=dict)
    start_up_from = models.SmallIntegerField(null=True, blank=True)  # day of the year
    winterize_by = models.SmallIntegerField(null=True, blank=True)
    buried_by = models.SmallIntegerField(null=True, blank=True)  # frost reaches a pipe in one year of ten
    seasons = models.PositiveSmallIntegerField()
    freezing_share = models.FloatField()
    is_short = models.BooleanField(default=False)

    class Meta:
        ordering = ["location_id"]

    def __str__(self) -> str:
        return f"{self.location_id} on {self.computed_on}"


class BackflowRule(models.Model):
    """What one supplier or town asks of backflow assemblies; nothing is asked where there is no row."""

    supplier = models.CharField(max_length=60, unique=True)
    before_use = models.BooleanField(default=False)  # tested before the water goes on each season
    every_months = models.PositiveSmallIntegerField(null=True, blank=True)
    who_may_test = models.CharField(max_length=120, blank=True)
    report_to = models.CharField(max_length=160, blank=True)
    source = models.CharField(max_length=300, blank=True)
    checked_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["supplier"]
        constraints = [
            models.CheckConstraint(
                condition=Q(every_months__isnull=True) | Q(every_months__gte=1, every_months__lte=120),
                name="backflow_rule_months_plausible",
            ),
        ]

    def __str__(self) -> str:
        return self.supplier
