"""Rebates of suppliers as dated data, and what was claimed of them for gardens."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q


class Rebate(models.Model):
    """What a supplier pays towards a sensor, to whom, until when, and on which papers."""

    name = models.CharField(max_length=120)
    supplier = models.CharField(max_length=60)
    starts_on = models.DateField()
    ends_on = models.DateField()  # exclusive
    amount = models.FloatField(default=0)  # a garden
    amount_per_station = models.FloatField(default=0)
    share_of_cost = models.FloatField(default=0)  # 0-1 of the invoice
    most = models.FloatField(null=True, blank=True)  # cap of all together
    currency = models.CharField(max_length=3)
    apply_within_days = models.PositiveSmallIntegerField(default=90)  # of the installation
    asks_before_work = models.BooleanField(default=False)  # approval before the sensor comes
    needs_meter = models.BooleanField(default=True)
    months_before = models.PositiveSmallIntegerField(default=0)  # metered months asked for
    months_after = models.PositiveSmallIntegerField(default=0)
    keep_years = models.PositiveSmallIntegerField(default=5)  # sensor in use, papers kept
    papers = models.CharField(max_length=400, blank=True)  # what else is asked for, in words
    checked_on = models.DateField()  # day on which somebody read the supplier's own words

    class Meta:
        ordering = ["supplier", "-starts_on", "name"]
        constraints = [
            models.UniqueConstraint(fields=["supplier", "name", "starts_on"], name="rebate_once_a_start"),
            models.CheckConstraint(condition=Q(ends_on__gt=F("starts_on")), name="rebate_ends_after_start"),
            models.CheckConstraint(
                condition=Q(
                    amount__gte=0, amount_per_station__gte=0, share_of_cost__gte=0, share_of_cost__lte=1
                ),
                name="rebate_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} of {self.supplier}"


class RebateClaim(models.Model):
    """What a garden's dossier holds beyond the book, and how far the claim is."""

    class State(models.TextChoices):
        PREPARED = "prepared", "being prepared"
        SENT = "sent", "sent"
        PAID = "paid", "paid"
        REFUSED = "refused", "refused"
        GIVEN_UP = "given_up", "given up"

    rebate = models.ForeignKey(Rebate, on_delete=models.PROTECT, related_name="claims")
    site = models.ForeignKey("sites.Site", on_delete=models.CASCADE, related_name="rebate_claims")
    state = models.CharField(max_length=10, choices=State.choices, default=State.PREPARED)
    account = models.CharField(max_length=60, blank=True)  # the customer's with the supplier
    consent_on = models.DateField(null=True, blank=True)  # owner's permission in writing
    approved_on = models.DateField(null=True, blank=True)  # supplier's word before the work
    device = models.CharField(max_length=200, blank=True)  # make, model, serial as typed
    invoice = models.CharField(max_length=60, blank=True)
    invoice_on = models.DateField(null=True, blank=True)
    invoice_total = models.FloatField(null=True, blank=True)
    area_method = models.CharField(max_length=120, blank=True)  # how areas were measured
    sent_on = models.DateField(null=True, blank=True)
    paid = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["rebate_id", "site_id"]
        constraints = [
            models.UniqueConstraint(fields=["rebate", "site"], name="rebate_claim_once"),
            models.CheckConstraint(
                condition=Q(invoice_total__isnull=True) | Q(invoice_total__gte=0),
                name="rebate_invoice_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"claim of {self.site_id} on {self.rebate_id}"
