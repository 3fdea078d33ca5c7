"""A planning from the moment it is asked for: how far it is, and the word to stop it."""

from __future__ import annotations

from datetime import timedelta

from django.db import models
from django.db.models import Q


class Planning(models.Model):
    """One search for routes. At most one of a week is asked for or under way; pages watch it by this row."""

    class State(models.TextChoices):
        ASKED = "asked", "waits for the worker"
        RUNNING = "running", "at work"
        KEPT = "kept", "written"
        DISCARDED = "discarded", "thrown away"
        FAILED = "failed", "broke"
        LOST = "lost", "broke off"

    class Stop(models.TextChoices):
        NO = "", "no"
        KEEP = "keep", "stop, keep the best so far"
        DISCARD = "discard", "stop, throw it away"

    ALIVE = (State.ASKED, State.RUNNING)
    HEARTBEAT_LOST_AFTER = timedelta(minutes=3)

    week = models.DateField()  # its Monday
    day = models.DateField(null=True, blank=True)  # null: the whole week
    state = models.CharField(max_length=10, choices=State.choices, default=State.ASKED)
    stop = models.CharField(max_length=10, choices=Stop.choices, blank=True, default=Stop.NO)
    seconds = models.FloatField()  # time to search [s]
    seed = models.PositiveBigIntegerField(default=0)
    by = models.CharField(max_length=150, blank=True)
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    phase = models.CharField(max_length=60, blank=True)
    served = models.PositiveIntegerField(default=0)
    unserved = models.PositiveIntegerField(default=0)
    # [[elapsed s, value won less cost of driving], ...]; money.
    course = models.JSONField(default=list, blank=True)
    words = models.CharField(max_length=400, blank=True)  # what came of it

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["week"], condition=Q(state__in=("asked", "running")), name="planning_once_a_week"
            )
        ]

    def __str__(self) -> str:
        return f"{self.week} {self.state}"
