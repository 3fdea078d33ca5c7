"""Devices that send logs and readings by themselves, each with a token of its own."""

from __future__ import annotations

from django.db import models


class DeviceToken(models.Model):
    """A token, kept as its hash only: who made it, what it may send, when it was last used."""

    class Kind(models.TextChoices):
        BYPASS = "bypass", "bypass logs"
        READINGS = "readings", "meter readings"
        VOLUMES = "volumes", "meter volumes"

    name = models.CharField(max_length=80)
    token_hash = models.CharField(max_length=64, unique=True)  # SHA-256 of a token of 256 random bits
    hint = models.CharField(max_length=12)  # first letters, to tell tokens apart
    kinds = models.CharField(max_length=60)  # `;`-separated
    sites = models.ManyToManyField("sites.Site", blank=True, related_name="+")
    is_limited = models.BooleanField(default=False)  # to `sites`; else it may report for every site
    created_at = models.DateTimeField()
    created_by = models.CharField(max_length=150)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.CharField(max_length=150, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    calls = models.PositiveBigIntegerField(default=0)
    minute_start = models.DateTimeField(null=True, blank=True)  # of the minute being counted
    minute_calls = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-created_at", "-id"]

    def __str__(self) -> str:
        return self.name

    @property
    def kind_list(self) -> tuple[str, ...]:
        """What it may send."""
        return tuple(kind for kind in self.kinds.split(";") if kind)
