"""The company itself: one installation serves one."""

from __future__ import annotations

from datetime import timedelta

from django.db import models
from django.db.models import Q


class Company(models.Model):
    """Name, clock, money and every number that the stages take as a setting."""

    name = models.CharField(max_length=120)
    timezone = models.CharField(max_length=60, default="UTC")
    currency = models.CharField(max_length=3, default="USD")
    is_demo = models.BooleanField(default=False)
    demo_seed = models.BigIntegerField(null=True, blank=True)
    # The day that counts as today in a demo built from invented weather; null: the real one.
    demo_today = models.DateField(null=True, blank=True)
    depot_latitude = models.FloatField(null=True, blank=True)
    depot_longitude = models.FloatField(null=True, blank=True)
    # name -> number, only where changed; defaults and meanings: fleet.calc.settings.
    settings = models.JSONField(default=dict, blank=True)
    # Streets, river, blocks and other quiet map layers as GeoJSON by name; empty: blank paper.
    map_layers = models.JSONField(default=dict, blank=True)

    class Meta:
        verbose_name_plural = "companies"
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="company_only_one")]

    def __str__(self) -> str:
        return self.name


class StageRun(models.Model):
    """One stage for one scope and day: claimed by a conditional UPDATE, run again when its heart stops."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    HEARTBEAT_LOST_AFTER = timedelta(minutes=5)
    MOST_ATTEMPTS = 5
    WORKER = "worker"  # rows of this stage are no work: a worker tells by them that it is alive

    stage = models.CharField(max_length=30)
    scope = models.CharField(max_length=80, default="all")
    day = models.DateField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    attempt = models.PositiveSmallIntegerField(default=0)
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    summary = models.CharField(max_length=400, blank=True)
    error = models.TextField(blank=True)

    class Meta:
        ordering = ["-asked_at"]
        constraints = [models.UniqueConstraint(fields=["stage", "scope", "day"], name="stage_run_once_a_day")]
        indexes = [models.Index(fields=["state", "heartbeat_at"], name="stage_run_by_state")]  # the sweeper

    def __str__(self) -> str:
        return f"{self.stage} {self.scope} {self.day}"


class AuditEntry(models.Model):
    """Who saw, changed or took out customers' data; rows are added and, once too old, thrown away."""

    class Kind(models.TextChoices):
        SEEN = "seen", "seen"
        CHANGED = "changed", "changed"
        TAKEN = "taken", "taken out"
        ACCOUNT = "account", "account"

    at = models.DateTimeField()
    by = models.CharField(max_length=150)
    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.TAKEN)
    what = models.CharField(max_length=200)
    site_code = models.CharField(max_length=40, blank=True)
    request_id = models.CharField(max_length=32, blank=True)  # the same as in the log

    class Meta:
        ordering = ["-at", "-id"]
        verbose_name_plural = "audit entries"
        indexes = [
            models.Index(fields=["-at"], name="audit_by_time"),  # the page, and throwing away
            models.Index(fields=["site_code", "-at"], name="audit_by_site"),
            models.Index(fields=["by", "-at"], name="audit_by_person"),
        ]

    def __str__(self) -> str:
        return f"{self.at} {self.by} {self.what}"
