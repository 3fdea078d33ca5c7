"""What phones send from the garden, the photos among it, and the reports that customers may open."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from fleet.models.needs import Visit
from fleet.models.people import Technician
from fleet.models.routes import Finding, Stop


class Submission(models.Model):
    """One thing that a phone sent: taken once by the key that the phone made, stamped by both clocks."""

    class Kind(models.TextChoices):
        STATE = "state", "state of a stop"
        FINDING = "finding", "finding"
        PHOTO = "photo", "photo"

    class Outcome(models.TextChoices):
        TAKEN = "taken", "taken"
        ASKS = "asks", "the sender is asked"  # the plan changed meanwhile: both versions are kept
        ASIDE = "aside", "kept for the office"
        DROPPED = "dropped", "thrown away by the sender"
        REFUSED = "refused", "refused"

    client_key = models.CharField(max_length=64, unique=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, related_name="+")
    visit = models.ForeignKey(
        Visit, on_delete=models.SET_NULL, null=True, blank=True, related_name="submissions"
    )
    said_at = models.DateTimeField()  # by the phone's clock, when it was done
    sent_at = models.DateTimeField()  # by the phone's clock, when it was sent
    received_at = models.DateTimeField()  # by ours
    skew_s = models.FloatField()  # the phone's clock is ahead by so much
    happened_at = models.DateTimeField()  # when it was done, by our clock
    outcome = models.CharField(max_length=10, choices=Outcome.choices, default=Outcome.TAKEN)
    words = models.JSONField(default=list, blank=True)  # sentences that the phone was told
    payload = models.JSONField(default=dict, blank=True)  # as sent: nothing is lost, whatever becomes of it

    class Meta:
        ordering = ["-received_at"]
        indexes = [models.Index(fields=["outcome", "-received_at"], name="submission_by_outcome")]

    def __str__(self) -> str:
        return f"{self.kind} {self.outcome}"


class Photo(models.Model):
    """A picture of the own work. Its bytes lie in the data folder; nobody gets them but through a page."""

    client_key = models.CharField(max_length=64, unique=True)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="photos")
    stop = models.ForeignKey(Stop, on_delete=models.SET_NULL, null=True, blank=True, related_name="photos")
    finding = models.ForeignKey(
        Finding, on_delete=models.SET_NULL, null=True, blank=True, related_name="photos"
    )
    finding_key = models.CharField(max_length=64, blank=True)  # the finding may come after its photos
    technician = models.ForeignKey(Technician, on_delete=models.PROTECT, null=True, related_name="+")
    step = models.CharField(max_length=40, blank=True)  # of a procedure, else empty
    caption = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField()
    received_at = models.DateTimeField()
    received_sha256 = models.CharField(max_length=64)  # of the bytes that came
    sha256 = models.CharField(max_length=64)  # of the bytes that are kept
    size_bytes = models.PositiveIntegerField()
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    latitude = models.FloatField(null=True, blank=True)  # only where the company keeps positions
    longitude = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["taken_at", "id"]
        indexes = [models.Index(fields=["finding_key"], name="photo_by_finding_key")]

    def __str__(self) -> str:
        return f"photo of {self.visit_id}"


class ReportLink(models.Model):
    """A link by which a customer opens the report of one visit, until it ends or is taken back."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="report_links")
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    opened = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-made_at"]

    def __str__(self) -> str:
        return f"report of {self.visit_id} to {self.expires_at}"
