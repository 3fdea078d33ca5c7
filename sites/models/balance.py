"""The stored soil water balance: one row per zone and month, its days as arrays."""

from __future__ import annotations

from django.db import models

from sites.models.zone import Zone


class BalanceMonth(models.Model):
    """A zone's month, packed by `sites.calc.balance.blob`.

    One row per zone and month keeps 400 days of 60,000 zones at under a million rows.
    """

    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="balance_months")
    month = models.DateField()  # its first day
    values = models.BinaryField()
    allowed_mm = models.FloatField()
    available_mm = models.FloatField()

    class Meta:
        ordering = ["zone_id", "month"]
        constraints = [models.UniqueConstraint(fields=["zone", "month"], name="balance_once_a_month")]
        indexes = [models.Index(fields=["month", "zone"], name="balance_by_month")]

    def __str__(self) -> str:
        return f"{self.zone_id} {self.month:%Y-%m}"


class BalanceFront(models.Model):
    """How far a site's balance is computed, with its zones' state there."""

    site = models.OneToOneField("sites.Site", on_delete=models.CASCADE, related_name="balance_front")
    first_day = models.DateField()
    last_day = models.DateField()  # inclusive
    fingerprint = models.CharField(max_length=32)  # of all that the balance took from the book

    class Meta:
        ordering = ["site_id"]

    def __str__(self) -> str:
        return f"{self.site_id} to {self.last_day}"
