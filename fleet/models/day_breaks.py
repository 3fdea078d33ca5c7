"""A day that breaks: what happened, the plan proposed for it, whom to call, and hours held on the phone."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models.needs import Visit
from fleet.models.people import Technician
from fleet.models.routes import PlanRun


class DayBreak(models.Model):
    """Something that broke the plan of today, with the new plan that was proposed. Nothing is in force before
    it is accepted.
    """

    class Kind(models.TextChoices):
        LATE = "late", "running late"
        URGENT = "urgent", "urgent leak"
        ILL = "ill", "ill today"
        CANCELLED = "cancelled", "customer cancelled"

    class State(models.TextChoices):
        OPEN = "open", "proposed"
        ACCEPTED = "accepted", "accepted"
        DISCARDED = "discarded", "discarded"
        OVERTAKEN = "overtaken", "overtaken by another change"

    kind = models.CharField(max_length=10, choices=Kind.choices)
    day = models.DateField()
    week = models.DateField()  # Monday of that day
    asked_at = models.DateTimeField()
    asked_by = models.CharField(max_length=150, blank=True)
    moment = models.DateTimeField()  # from when on the day is planned
    asked = models.JSONField(default=dict)  # what was entered
    basis = models.CharField(max_length=64)  # mark of the plan that it was made for
    states = models.JSONField(default=dict)  # state of each stop of the day at that time, by its number
    orders = models.JSONField(default=dict)  # vehicle key -> visit numbers; 0: the urgent visit
    told = models.JSONField(default=dict)  # visit number -> new hours of a customer whose told ones gave way
    rows = models.JSONField(default=list)  # old and new place of each visit that changes
    figures = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.CharField(max_length=150, blank=True)
    run = models.ForeignKey(PlanRun, on_delete=models.SET_NULL, null=True, blank=True, related_name="breaks")

    class Meta:
        ordering = ["-asked_at", "-pk"]
        indexes = [models.Index(fields=["day", "state"], name="day_break_by_day")]

    def __str__(self) -> str:
        return f"{self.kind} {self.day}"


class CustomerCall(models.Model):
    """A customer to be rung: the hours that they count on have changed."""

    class Outcome(models.TextChoices):
        OPEN = "open", "to call"
        NO_ANSWER = "no_answer", "no answer"
        REACHED = "reached", "reached"
        AGREED = "agreed", "agreed"
        OTHER_TIME = "other_time", "wants another time"

    # To be rung still: nobody has spoken to the customer.
    WAITS = (Outcome.OPEN, Outcome.NO_ANSWER)

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="calls")
    day_break = models.ForeignKey(
        DayBreak, on_delete=models.SET_NULL, null=True, blank=True, related_name="calls"
    )
    made_at = models.DateTimeField()
    why = models.CharField(max_length=200)
    old_from = models.DateTimeField(null=True, blank=True)  # null: the customer had no hours
    old_to = models.DateTimeField(null=True, blank=True)
    new_from = models.DateTimeField(null=True, blank=True)  # null: no new hours yet
    new_to = models.DateTimeField(null=True, blank=True)
    technician = models.CharField(max_length=120, blank=True)  # who comes
    outcome = models.CharField(max_length=12, choices=Outcome.choices, default=Outcome.OPEN)
    note = models.CharField(max_length=300, blank=True)
    by = models.CharField(max_length=150, blank=True)
    at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit"], condition=Q(outcome__in=("open", "no_answer")), name="one_open_call_a_visit"
            )
        ]
        indexes = [models.Index(fields=["outcome", "-made_at"], name="call_by_outcome")]

    def __str__(self) -> str:
        return f"call {self.visit_id}"


class HeldWindow(models.Model):
    """Hours held for a customer on the phone: a told, locked visit of its own that keeps the place free.

    It ends when it is confirmed, given back, or its time is over.
    """

    place = models.OneToOneField(Visit, on_delete=models.CASCADE, related_name="hold")
    wanted = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="holds")
    technician = models.ForeignKey(Technician, on_delete=models.CASCADE)
    day = models.DateField()
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    by = models.CharField(max_length=150, blank=True)
    cost = models.JSONField(default=dict, blank=True)  # km, minutes and money more, as told on the phone

    class Meta:
        ordering = ["expires_at"]
        constraints = [models.UniqueConstraint(fields=["wanted"], name="one_hold_a_visit")]

    def __str__(self) -> str:
        return f"hold {self.wanted_id} until {self.expires_at}"
