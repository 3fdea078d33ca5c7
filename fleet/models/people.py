"""Who uses the product, and who drives."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q


class User(AbstractUser):
    """An account with one role and its own way of reading numbers."""

    class Role(models.TextChoices):
        DISPATCHER = "dispatcher", "dispatcher"
        TECHNICIAN = "technician", "technician"
        MANAGER = "manager", "manager"
        ADMINISTRATOR = "administrator", "administrator"

    class Units(models.TextChoices):
        METRIC = "metric", "metric"
        US = "us", "US customary"

    role = models.CharField(max_length=15, choices=Role.choices, default=Role.DISPATCHER)
    units = models.CharField(max_length=8, choices=Units.choices, default=Units.METRIC)
    clock_24h = models.BooleanField(default=True)

    class Meta:
        ordering = ["username"]

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Technician(models.Model):
    """A person on the road: where the day starts and ends, when, and what they may do."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    user = models.OneToOneField(
        User, on_delete=models.SET_NULL, null=True, blank=True, related_name="technician"
    )
    start_latitude = models.FloatField()
    start_longitude = models.FloatField()
    end_latitude = models.FloatField()
    end_longitude = models.FloatField()
    shift_start = models.TimeField()
    shift_end = models.TimeField()
    workdays = models.CharField(max_length=40)  # mon,tue,wed,thu,fri
    days_off = models.TextField(blank=True)  # ISO days, `;`-separated
    skills = models.CharField(max_length=200, blank=True)  # `;`-separated
    break_min = models.PositiveSmallIntegerField(default=30)
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(shift_end__gt=F("shift_start")), name="technician_shift_ends_after_start"
            ),
            models.CheckConstraint(
                condition=Q(
                    start_latitude__gte=-90,
                    start_latitude__lte=90,
                    end_latitude__gte=-90,
                    end_latitude__lte=90,
                ),
                name="technician_on_earth",
            ),
        ]

    def __str__(self) -> str:
        return self.name
