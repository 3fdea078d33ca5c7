"""Bypass logs: what the sensor did with the starts that the clock offered."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from sites.models.choices import LogMethod
from sites.models.controller import Controller


class BypassLog(models.Model):
    """Starts of one controller from `start` (inclusive) to `end` (exclusive). A skip is not a bypass."""

    controller = models.ForeignKey(Controller, on_delete=models.CASCADE, related_name="bypass_logs")
    start = models.DateField()
    end = models.DateField()
    starts_scheduled = models.PositiveIntegerField(null=True, blank=True)  # null: from the program set then
    starts_bypassed = models.PositiveIntegerField()
    starts_cut_short = models.PositiveIntegerField(default=0)
    starts_skipped = models.PositiveIntegerField(default=0)  # any other cause
    method = models.CharField(max_length=15, choices=LogMethod.choices, default=LogMethod.LOGGER)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["controller_id", "start"]
        constraints = [
            models.UniqueConstraint(fields=["controller", "start"], name="bypass_log_once_a_start"),
            models.CheckConstraint(condition=Q(end__gt=F("start")), name="bypass_log_ends_after_start"),
            models.CheckConstraint(
                condition=Q(starts_scheduled__isnull=True)
                | Q(starts_scheduled__gte=F("starts_bypassed") + F("starts_skipped")),
                name="bypass_log_not_more_than_scheduled",
            ),
        ]
        indexes = [models.Index(fields=["start", "controller"], name="bypass_log_by_day")]  # the watch's span

    def __str__(self) -> str:
        return f"{self.controller_id} {self.start}"
