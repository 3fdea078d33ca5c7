"""Routes: a technician's day as an ordered list of stops."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models.needs import Visit, VisitNeed
from fleet.models.people import Technician


class Route(models.Model):
    """One technician's day."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        PUBLISHED = "published", "published"

    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="routes")
    day = models.DateField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    start_at = models.DateTimeField()
    end_at = models.DateTimeField()
    drive_min = models.FloatField(default=0)
    drive_km = models.FloatField(default=0)
    end_drive_min = models.FloatField(default=0)  # from the last stop back
    end_drive_km = models.FloatField(default=0)
    travel_is_estimated = models.BooleanField(default=True)  # no street network: great circle x circuity
    planned_at = models.DateTimeField()
    way = models.JSONField(null=True, blank=True)  # lon/lat line where streets are known

    class Meta:
        ordering = ["day", "technician__code"]
        constraints = [models.UniqueConstraint(fields=["technician", "day"], name="route_once_a_day")]
        indexes = [models.Index(fields=["day"], name="route_by_day")]

    def __str__(self) -> str:
        return f"{self.technician_id} {self.day}"


class Stop(models.Model):
    """One place in a route: a visit, or the break."""

    class State(models.TextChoices):
        AHEAD = "ahead", "ahead"
        ON_THE_WAY = "on_the_way", "left for it"
        AT_THE_GATE = "at_the_gate", "at the gate"
        FINISHED = "finished", "finished"
        NOT_POSSIBLE = "not_possible", "not possible"

    route = models.ForeignKey(Route, on_delete=models.CASCADE, related_name="stops")
    order = models.PositiveSmallIntegerField()  # from 1
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, null=True, blank=True, related_name="stops")
    is_break = models.BooleanField(default=False)
    arrive = models.DateTimeField()
    depart = models.DateTimeField()
    drive_min = models.FloatField(default=0)  # from the stop before
    drive_km = models.FloatField(default=0)
    state = models.CharField(max_length=15, choices=State.choices, default=State.AHEAD)
    state_at = models.DateTimeField(null=True, blank=True)
    not_possible_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["route_id", "order"]
        constraints = [
            models.UniqueConstraint(fields=["route", "order"], name="stop_once_a_place_in_route"),
            models.UniqueConstraint(fields=["visit"], name="stop_once_a_visit"),
            models.CheckConstraint(
                condition=Q(is_break=True, visit__isnull=True) | Q(is_break=False, visit__isnull=False),
                name="stop_is_visit_or_break",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.route_id}.{self.order}"


class FindingQuery(models.QuerySet["Finding"]):
    """Findings by what the office made of them."""

    def that_count(self) -> FindingQuery:
        """Without those that were taken back, and those that the plan had overtaken."""
        return self.exclude(check_state__in=(Finding.Check.UNDONE, Finding.Check.BESIDE))


class Finding(models.Model):
    """What a technician recorded at a stop."""

    class Verdict(models.TextChoices):
        CONFIRMED = "confirmed", "confirmed"
        NOT_CONFIRMED = "not_confirmed", "not confirmed"
        OTHER_CAUSE = "other_cause", "other cause"
        NOT_CHECKED = "not_checked", "not checked"

    class Check(models.TextChoices):
        TO_CHECK = "to_check", "to check"
        BESIDE = "beside", "kept beside, changed nothing"  # the plan had changed meanwhile
        ACCEPTED = "accepted", "accepted"
        CORRECTED = "corrected", "corrected"
        UNDONE = "undone", "undone"

    client_key = models.CharField(max_length=64, unique=True)  # made by the phone: a re-send is harmless
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="findings")
    stop = models.ForeignKey(Stop, on_delete=models.SET_NULL, null=True, blank=True, related_name="findings")
    technician = models.ForeignKey(Technician, on_delete=models.PROTECT, null=True, related_name="findings")
    recorded_at = models.DateTimeField()
    kind = models.CharField(max_length=20)  # of the need it answers
    verdict = models.CharField(max_length=15, choices=Verdict.choices, default=Verdict.NOT_CHECKED)
    cause = models.CharField(max_length=20, blank=True)  # as found, in the watch's words
    resistance_kohm = models.FloatField(null=True, blank=True)
    soil_temperature_c = models.FloatField(null=True, blank=True)
    threshold_kpa = models.FloatField(null=True, blank=True)  # as left
    program_keyed_in = models.BooleanField(default=False)
    turf = models.CharField(max_length=15, blank=True)  # good, evenly_dry, patchy, soggy
    parts = models.JSONField(default=dict, blank=True)  # code of the catalogue -> how many, off the truck
    parts_used = models.CharField(max_length=200, blank=True)  # what the catalogue does not hold, in words
    service_min = models.FloatField(null=True, blank=True)
    follow_up = models.CharField(max_length=300, blank=True)
    note = models.TextField(blank=True)
    answers = models.JSONField(default=dict, blank=True)  # by code of the check at the stop
    need = models.ForeignKey(
        VisitNeed, on_delete=models.SET_NULL, null=True, blank=True, related_name="findings"
    )
    need_is_met = models.BooleanField(default=True)
    check_state = models.CharField(max_length=10, choices=Check.choices, default=Check.TO_CHECK)
    checked_by = models.CharField(max_length=150, blank=True)
    checked_at = models.DateTimeField(null=True, blank=True)
    # What it changed in the book, each with what was before, so that the office can take it back.
    effects = models.JSONField(default=list, blank=True)
    words = models.JSONField(default=list, blank=True)  # the same as sentences

    objects = FindingQuery.as_manager()

    class Meta:
        ordering = ["-recorded_at"]
        indexes = [models.Index(fields=["check_state", "-recorded_at"], name="finding_by_check")]

    def __str__(self) -> str:
        return f"{self.kind} {self.verdict}"


class PlanRun(models.Model):
    """One planning of a week or day: what came of it, and the routes as they were, for undo."""

    week = models.DateField()  # its Monday
    day = models.DateField(null=True, blank=True)  # null: the whole week
    planned_at = models.DateTimeField()
    by = models.CharField(max_length=150, blank=True)
    figures = models.JSONField(default=dict, blank=True)
    before = models.JSONField(null=True, blank=True)
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-planned_at"]

    def __str__(self) -> str:
        return f"{self.week} planned {self.planned_at}"
