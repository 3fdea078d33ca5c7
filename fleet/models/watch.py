"""The sensor watch: the state of each controller, and its flags."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class WatchStatus(models.TextChoices):
    """States of a controller under the watch."""

    HEALTHY = "healthy", "healthy"
    WATCH = "watch", "watch"
    FLAG = "flag", "flag"
    TOO_LITTLE_DATA = "too_little_data", "too little data"
    CANNOT_TELL = "cannot_tell", "cannot tell"
    COMMISSIONING = "commissioning", "commissioning"
    OFF_SEASON = "off_season", "off season"
    NO_LOG = "no_log", "no log"
    RESTING = "resting", "resting"


class Cause(models.TextChoices):
    """What a flag may say."""

    STUCK_WET = "stuck_wet", "stuck wet"
    STUCK_DRY = "stuck_dry", "stuck dry"
    READS_WET = "reads_wet", "reads wet"
    READS_DRY = "reads_dry", "reads dry"
    ERRATIC = "erratic", "erratic"
    PROGRAM_DIFFERS = "program_differs", "program differs"
    OVERRIDDEN = "overridden", "sensor input switched off"
    NO_POWER = "no_power", "no power"


class WatchState(models.Model):
    """What the watch says of one controller, as of a day. One row a controller: the newest."""

    controller = models.OneToOneField(
        "sites.Controller", on_delete=models.CASCADE, related_name="watch_state"
    )
    as_of = models.DateField()
    status = models.CharField(max_length=16, choices=WatchStatus.choices)
    cause = models.CharField(max_length=16, choices=Cause.choices, blank=True)
    score = models.FloatField(null=True, blank=True)  # log odds of any fault; not a calibrated probability
    probability = models.FloatField(null=True, blank=True)  # of not being healthy
    cause_probability = models.FloatField(null=True, blank=True)
    since = models.DateField(null=True, blank=True)  # estimated onset
    observed_rate = models.FloatField(null=True, blank=True)
    expected_rate = models.FloatField(null=True, blank=True)
    starts = models.PositiveIntegerField(null=True, blank=True)
    bypassed = models.PositiveIntegerField(null=True, blank=True)
    litres_at_stake_per_week = models.FloatField(null=True, blank=True)
    evidence = models.CharField(max_length=600, blank=True)
    unseen = models.CharField(max_length=120, blank=True)  # faults that this weather could not show
    # Per day: [day, expected share, bypassed, ran, skipped, probability by cause...] for the evidence page.
    trace = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ["controller_id"]
        indexes = [models.Index(fields=["status"], name="watch_state_by_status")]

    def __str__(self) -> str:
        return f"{self.controller_id} {self.status}"


class Flag(models.Model):
    """A raised suspicion. It closes by a finding or by data, and is never silently dropped."""

    class ClosedBy(models.TextChoices):
        FINDING = "finding", "finding"
        DATA = "data", "data"

    controller = models.ForeignKey("sites.Controller", on_delete=models.CASCADE, related_name="flags")
    cause = models.CharField(max_length=16, choices=Cause.choices)
    raised_on = models.DateField()
    since = models.DateField(null=True, blank=True)
    probability = models.FloatField()
    cause_probability = models.FloatField(null=True, blank=True)
    litres_at_stake_per_week = models.FloatField(null=True, blank=True)
    evidence = models.CharField(max_length=600, blank=True)
    closed_on = models.DateField(null=True, blank=True)
    closed_by = models.CharField(max_length=10, choices=ClosedBy.choices, blank=True)
    truth = models.CharField(
        max_length=20, blank=True
    )  # what a finding said: confirmed, not_confirmed, other
    resting_until = models.DateField(null=True, blank=True)
    resting_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-raised_on", "controller_id"]
        constraints = [
            models.UniqueConstraint(
                fields=["controller"], condition=Q(closed_on__isnull=True), name="flag_one_open_a_controller"
            ),
            models.UniqueConstraint(fields=["controller", "raised_on"], name="flag_once_a_day"),
        ]

    def __str__(self) -> str:
        return f"{self.controller_id} {self.cause} {self.raised_on}"


class WatchFit(models.Model):
    """The numbers that the fleet's own logs taught the watch, dated."""

    as_of = models.DateField(unique=True)
    values = models.JSONField()
    controllers = models.PositiveIntegerField()

    class Meta:
        ordering = ["-as_of"]

    def __str__(self) -> str:
        return f"{self.as_of}"


class WatchHabit(models.Model):
    """What an earlier season taught of one garden's sensor; empty offsets where it taught nothing."""

    controller = models.OneToOneField(
        "sites.Controller", on_delete=models.CASCADE, related_name="watch_habit"
    )
    as_of = models.DateField()  # last day of the season that taught it
    seen_days = models.PositiveSmallIntegerField()
    book = models.CharField(max_length=80)  # the book's numbers against which the errors were learned
    use_mean = models.FloatField(null=True, blank=True)  # log error of use over dose
    use_sd = models.FloatField(null=True, blank=True)
    threshold_mean = models.FloatField(null=True, blank=True)  # log error of the depletion at the threshold
    threshold_sd = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["controller_id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    use_mean__isnull=True,
                    use_sd__isnull=True,
                    threshold_mean__isnull=True,
                    threshold_sd__isnull=True,
                )
                | Q(
                    use_mean__isnull=False,
                    use_sd__gt=0,
                    threshold_mean__isnull=False,
                    threshold_sd__gt=0,
                ),
                name="watch_habit_whole_or_none",
            )
        ]

    def __str__(self) -> str:
        return f"{self.controller_id} {self.as_of}"


class WatchDay(models.Model):
    """What a run of the watch found in all: the course of the watch itself, one row a day."""

    as_of = models.DateField(unique=True)
    by_status = models.JSONField(default=dict)
    raised = models.PositiveIntegerField(default=0)
    closed = models.PositiveIntegerField(default=0)
    # New flags a week over the last eight weeks at each setting of fleet.calc.watch.calibration.FLAG_SCORES.
    new_flags_a_week = models.JSONField(default=list)

    class Meta:
        ordering = ["-as_of"]

    def __str__(self) -> str:
        return f"{self.as_of}"
