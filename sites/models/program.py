"""Programs: what a controller is set to, and what it should be set to."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from sites.models.choices import ProgramStatus
from sites.models.controller import Controller


class ProgramSet(models.Model):
    """All that is keyed into one controller from a day on."""

    class Origin(models.TextChoices):
        IMPORTED = "imported"
        KEYED_IN = "keyed_in"  # a technician keyed in a recommended program

    controller = models.ForeignKey(Controller, on_delete=models.CASCADE, related_name="program_sets")
    as_of = models.DateField()
    origin = models.CharField(max_length=10, choices=Origin.choices, default=Origin.IMPORTED)

    class Meta:
        ordering = ["controller_id", "as_of"]
        constraints = [models.UniqueConstraint(fields=["controller", "as_of"], name="program_set_once_a_day")]

    def __str__(self) -> str:
        return f"{self.controller_id} as of {self.as_of}"


class LineFields(models.Model):
    """One station's line of a program letter, in the words of the programs file."""

    letter = models.CharField(max_length=2)
    days = models.CharField(max_length=60)  # mon,wed,fri / every:3@2026-04-01 / odd / even / daily
    starts = models.CharField(max_length=120)  # 04:00;05:30
    station = models.PositiveSmallIntegerField()
    run_min = models.FloatField()  # minutes of one start, before seasonal adjust
    run_order = models.PositiveSmallIntegerField()  # from 1 within the letter
    seasonal_adjust_pct = models.FloatField(default=100)

    class Meta:
        abstract = True


class ProgramLine(LineFields):
    """A line of what is set."""

    program_set = models.ForeignKey(ProgramSet, on_delete=models.CASCADE, related_name="lines")

    class Meta:
        ordering = ["program_set_id", "letter", "run_order"]
        constraints = [
            models.UniqueConstraint(
                fields=["program_set", "letter", "station"], name="program_line_once_a_station"
            ),
            models.CheckConstraint(condition=Q(run_min__gte=0), name="program_run_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.letter}{self.station}"


class Recommendation(models.Model):
    """The weekly round's answer for one controller and week, with the figures behind it."""

    controller = models.ForeignKey(Controller, on_delete=models.CASCADE, related_name="recommendations")
    week = models.DateField()  # its Monday
    status = models.CharField(max_length=12, choices=ProgramStatus.choices, default=ProgramStatus.RECOMMENDED)
    is_change = models.BooleanField()  # worth making, compared with what is set
    computed_on = models.DateField()
    threshold_kpa_now = models.FloatField(null=True, blank=True)
    threshold_kpa = models.FloatField(null=True, blank=True)
    cycles_per_event = models.PositiveSmallIntegerField(default=1)
    reasons = models.JSONField(default=list)  # plain sentences, the deciding one first
    binding_limit = models.CharField(max_length=80, blank=True)  # empty: nothing binds
    # Over the next four weeks, new against set now:
    water_at_stake_l = models.FloatField(default=0)  # positive: the new one uses less
    money_at_stake = models.FloatField(default=0)
    dry_zone_days_spared = models.FloatField(default=0)
    adequacy_pct_now = models.FloatField(null=True, blank=True)
    adequacy_pct = models.FloatField(null=True, blank=True)
    reach_pct = models.FloatField(null=True, blank=True)  # by a full refill on every day that is open
    lost_pct_now = models.FloatField(null=True, blank=True)
    lost_pct = models.FloatField(null=True, blank=True)
    expected_bypass_rate = models.FloatField(null=True, blank=True)
    window_used_min = models.FloatField(null=True, blank=True)
    window_min = models.FloatField(null=True, blank=True)
    minutes_now = models.FloatField(null=True, blank=True)  # a week
    minutes_new = models.FloatField(null=True, blank=True)
    candidates_tried = models.PositiveIntegerField(default=0)
    seasons_used = models.PositiveSmallIntegerField(default=0)
    short_history = models.BooleanField(default=False)
    # Days of the past seasons on which the location's rain stood in for a silent gauge.
    rain_stood_in_days = models.PositiveSmallIntegerField(default=0)
    forecast_days = models.PositiveSmallIntegerField(null=True, blank=True)  # null: not noted
    needs_wire_move = models.BooleanField(default=False)  # governing station cannot close its pass
    decided_by = models.CharField(max_length=150, blank=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    is_by_hand = models.BooleanField(default=False)  # its lines were edited by a person
    outside_reason = models.CharField(max_length=300, blank=True)  # why it may run outside permitted hours

    class Meta:
        ordering = ["-week", "controller_id"]
        constraints = [
            models.UniqueConstraint(fields=["controller", "week"], name="recommendation_once_a_week")
        ]
        indexes = [models.Index(fields=["week", "status"], name="recommendation_by_week")]  # the round's page

    def __str__(self) -> str:
        return f"{self.controller_id} week of {self.week}"


class RecommendationLine(LineFields):
    """A line of what should be set, with what it will do to its zone."""

    recommendation = models.ForeignKey(Recommendation, on_delete=models.CASCADE, related_name="lines")
    cycles_per_event = models.PositiveSmallIntegerField(default=1)
    week_depth_mm = models.FloatField(null=True, blank=True)
    week_volume_l = models.FloatField(null=True, blank=True)
    week_need_mm = models.FloatField(null=True, blank=True)
    adequacy_pct = models.FloatField(null=True, blank=True)
    lost_pct = models.FloatField(null=True, blank=True)
    dry_days = models.FloatField(null=True, blank=True)  # zone-days beyond allowed depletion in 4 weeks
    runoff_limit_min = models.FloatField(null=True, blank=True)  # null: none

    class Meta:
        ordering = ["recommendation_id", "letter", "run_order"]
        constraints = [
            models.UniqueConstraint(
                fields=["recommendation", "letter", "station"], name="recommendation_line_once_a_station"
            )
        ]

    def __str__(self) -> str:
        return f"{self.letter}{self.station}"
