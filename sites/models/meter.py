"""Water meters and what they counted."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from sites.models.choices import MeterKind
from sites.models.site import Site


class Meter(models.Model):
    """A meter of a site; `code` is empty where only volumes of periods are known."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="meters")
    code = models.CharField(max_length=40, blank=True)
    kind = models.CharField(max_length=12, choices=MeterKind.choices, default=MeterKind.IRRIGATION)

    class Meta:
        ordering = ["site_id", "kind", "code"]
        constraints = [models.UniqueConstraint(fields=["site", "kind", "code"], name="meter_once_a_site")]

    def __str__(self) -> str:
        return self.code or self.kind


class MeterVolume(models.Model):
    """Water used from `start` (inclusive) to `end` (exclusive)."""

    meter = models.ForeignKey(Meter, on_delete=models.CASCADE, related_name="volumes")
    start = models.DateField()
    end = models.DateField()
    volume_l = models.FloatField()
    volume_given = models.FloatField()  # as the file had it, in `unit`
    unit = models.CharField(max_length=4)
    is_estimated = models.BooleanField(default=False)  # by the supplier; the next actual one makes it good

    class Meta:
        ordering = ["meter_id", "start"]
        constraints = [
            models.UniqueConstraint(fields=["meter", "start"], name="meter_volume_once_a_start"),
            models.CheckConstraint(condition=Q(end__gt=F("start")), name="meter_volume_ends_after_start"),
            models.CheckConstraint(condition=Q(volume_l__gte=0), name="meter_volume_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.meter_id} {self.start}"


class MeterReading(models.Model):
    """A register as it stood at a moment."""

    class ReadKind(models.TextChoices):
        ACTUAL = "actual"
        ESTIMATED = "estimated"

    class Event(models.TextChoices):
        NONE = "", "none"
        SWAP = "swap"
        RESET = "reset"

    meter = models.ForeignKey(Meter, on_delete=models.CASCADE, related_name="readings")
    read_at = models.DateTimeField()
    reading = models.FloatField()  # in `unit`
    unit = models.CharField(max_length=4)
    digits = models.PositiveSmallIntegerField(null=True, blank=True)
    read_kind = models.CharField(max_length=10, choices=ReadKind.choices, default=ReadKind.ACTUAL)
    event = models.CharField(max_length=10, choices=Event.choices, blank=True, default=Event.NONE)

    class Meta:
        ordering = ["meter_id", "read_at"]
        constraints = [
            # A swap has two readings at one moment: the old register's last and the new one's first.
            models.UniqueConstraint(fields=["meter", "read_at", "event"], name="meter_reading_once_a_moment"),
            models.CheckConstraint(condition=Q(reading__gte=0), name="meter_reading_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.meter_id} {self.read_at}"
