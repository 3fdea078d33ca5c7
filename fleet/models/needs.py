"""Why to go to a site, and the planned calls made of it."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q


class VisitKind(models.TextChoices):
    """Kinds of visit, as in the visits file."""

    START_UP = "start_up", "spring start-up"
    AUDIT = "audit", "audit"
    SENSOR_CHECK = "sensor_check", "sensor check"
    SENSOR_INSTALL = "sensor_install", "new sensor"
    PROGRAM_CHANGE = "program_change", "program change"
    REPAIR = "repair", "repair"
    MOVE_STATION_WIRE = "move_station_wire", "exchange of station wires"
    DIG = "dig", "dig"
    BACKFLOW_TEST = "backflow_test", "backflow test"
    WINTERIZE = "winterize", "winterization"
    COMPLAINT = "complaint", "complaint"
    SURVEY = "survey", "survey of a new site"
    LOG_MISSING = "log_missing", "missing bypass log"


class VisitNeed(models.Model):
    """One reason to go to a site, with what a day of waiting costs."""

    class Origin(models.TextChoices):
        WATCH = "watch", "sensor watch"
        ROUND = "round", "weekly round"
        CALENDAR = "calendar", "season calendar"
        CONTRACT = "contract", "service contract"
        LOGS = "logs", "missing data"
        METER = "meter", "water meter"
        IMPORTED = "imported", "asked for"  # visits file: promises, complaints, jobs
        PERSON = "person", "entered by a person"
        FINDING = "finding", "follow-up of a finding"

    # Their reasons are a person's own words.
    BY_PEOPLE = (Origin.IMPORTED, Origin.PERSON, Origin.FINDING)

    class State(models.TextChoices):
        OPEN = "open", "open"
        DONE = "done", "done"
        WITHDRAWN = "withdrawn", "withdrawn"  # the reason went away

    site = models.ForeignKey("sites.Site", on_delete=models.CASCADE, related_name="needs")
    controller = models.ForeignKey("sites.Controller", on_delete=models.CASCADE, null=True, blank=True)
    kind = models.CharField(max_length=20, choices=VisitKind.choices)
    origin = models.CharField(max_length=10, choices=Origin.choices)
    key = models.CharField(max_length=160)  # natural key: what raised it, e.g. `flag/CB-14/A/2026-05-27`
    reason = models.CharField(max_length=400)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    raised_on = models.DateField()
    closed_on = models.DateField(null=True, blank=True)
    value_per_day = models.FloatField()  # money lost by each day of waiting
    value_parts = models.JSONField(
        default=dict
    )  # water, turf, promise, contract, priority: how it came about
    service_min = models.FloatField()
    skill = models.CharField(max_length=200, blank=True)  # `;`-separated
    parts = models.CharField(max_length=200, blank=True)
    earliest = models.DateTimeField(null=True, blank=True)  # bound the start of service
    latest = models.DateTimeField(null=True, blank=True)
    promised = models.BooleanField(default=False)  # the customer was told this window
    blocked_by = models.CharField(max_length=400, blank=True)  # missing prerequisites, in words
    locate_ticket = models.CharField(max_length=60, blank=True)
    locate_valid_until = models.DateField(null=True, blank=True)
    # Extra work: the customer's word on the quote is a prerequisite.
    needs_approval = models.BooleanField(default=False)
    quote = models.ForeignKey(
        "fleet.Quote", on_delete=models.SET_NULL, null=True, blank=True, related_name="needs"
    )
    minutes_by_hand = models.BooleanField(default=False)  # a person set `service_min`: data leave it alone
    note = models.CharField(max_length=300, blank=True)
    withdrawn_why = models.CharField(max_length=300, blank=True)  # a person's words; empty: data withdrew it
    rests_until = models.DateField(null=True, blank=True)  # withdrawn by a person: not raised before this day

    class Meta:
        ordering = ["-value_per_day", "id"]
        constraints = [
            models.UniqueConstraint(fields=["key"], name="visit_need_once_a_cause"),
            models.CheckConstraint(
                condition=Q(earliest__isnull=True) | Q(latest__isnull=True) | Q(latest__gte=F("earliest")),
                name="visit_need_window_in_order",
            ),
            models.CheckConstraint(
                condition=Q(value_per_day__gte=0, service_min__gte=0), name="visit_need_not_negative"
            ),
        ]
        indexes = [models.Index(fields=["state", "site"], name="visit_need_open_by_site")]

    def __str__(self) -> str:
        return self.key


class Visit(models.Model):
    """The planned call that meets one or more needs of a site."""

    class State(models.TextChoices):
        PLANNED = "planned", "planned"
        TOLD = "told", "customer told"
        UNDER_WAY = "under_way", "under way"
        DONE = "done", "done"
        NOT_POSSIBLE = "not_possible", "not possible"
        CANCELLED = "cancelled", "cancelled"

    site = models.ForeignKey("sites.Site", on_delete=models.CASCADE, related_name="visits")
    week = models.DateField()  # its Monday
    number = models.PositiveSmallIntegerField(default=1)  # of the site's visits in that week
    needs = models.ManyToManyField(VisitNeed, related_name="visits", blank=True)
    state = models.CharField(max_length=15, choices=State.choices, default=State.PLANNED)
    service_min = models.FloatField()
    value_per_day = models.FloatField()
    skill = models.CharField(max_length=200, blank=True)
    window_from = models.DateTimeField(null=True, blank=True)  # what the customer was told
    window_to = models.DateTimeField(null=True, blank=True)
    told_at = models.DateTimeField(null=True, blank=True)
    is_locked = models.BooleanField(default=False)
    unserved_reason = models.CharField(max_length=300, blank=True)  # why no route serves it; empty: one does
    unserved_code = models.CharField(max_length=20, blank=True)  # the same as a word to filter by
    unserved_change = models.CharField(
        max_length=160, blank=True
    )  # what would let it in, where that is known
    # How often the plan changed its day, person or time: a calendar's SEQUENCE.
    plan_revision = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["week", "-value_per_day"]
        constraints = [
            models.UniqueConstraint(fields=["site", "week", "number"], name="visit_once_a_site_and_week"),
        ]
        indexes = [models.Index(fields=["week", "state"], name="visit_by_week")]

    def __str__(self) -> str:
        return f"{self.site_id} week of {self.week}"

    @property
    def why_unserved(self) -> str:
        """Why no route serves it, and what would change that."""
        change = f"What would change it: {self.unserved_change}" if self.unserved_change else ""
        return f"{self.unserved_reason} {change}".strip()
