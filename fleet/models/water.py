"""Money and the water ledger."""

from __future__ import annotations

from datetime import date, timedelta

from django.db import models
from django.db.models import F, Q

from fleet.calc.ledger.house import use_range_l


class Tariff(models.Model):
    """A supplier's price from a day and a tier on."""

    supplier = models.CharField(max_length=60)
    starts_on = models.DateField()
    tier_from_m3 = models.FloatField(default=0)  # a month
    price_per_m3 = models.FloatField()
    currency = models.CharField(max_length=3)

    class Meta:
        ordering = ["supplier", "starts_on", "tier_from_m3"]
        constraints = [
            models.UniqueConstraint(
                fields=["supplier", "starts_on", "tier_from_m3"], name="tariff_once_a_tier"
            ),
            models.CheckConstraint(
                condition=Q(price_per_m3__gte=0, tier_from_m3__gte=0), name="tariff_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.supplier} {self.starts_on}"


class LedgerMonth(models.Model):
    """One site's month in the water ledger: what was used and what was needed."""

    class Source(models.TextChoices):
        METERED = "metered", "metered"
        ESTIMATED = "estimated", "estimated"
        PART = "part", "part metered"

    site = models.ForeignKey("sites.Site", on_delete=models.CASCADE, related_name="ledger_months")
    month = models.DateField()  # its first day
    used_l = models.FloatField(null=True, blank=True)
    used_sd_l = models.FloatField(null=True, blank=True)
    used_source = models.CharField(max_length=10, choices=Source.choices, blank=True)
    need_l = models.FloatField(null=True, blank=True)
    need_good_du_l = models.FloatField(null=True, blank=True)
    baseline_l = models.FloatField(null=True, blank=True)
    saved_l = models.FloatField(null=True, blank=True)
    saved_low_l = models.FloatField(null=True, blank=True)
    saved_high_l = models.FloatField(null=True, blank=True)
    reasons = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["site_id", "month"]
        constraints = [models.UniqueConstraint(fields=["site", "month"], name="ledger_once_a_month")]
        # the ranking of a month reads the index alone, not ten thousand rows that lie far apart
        indexes = [models.Index(fields=["month", "site", "used_l", "need_l"], name="ledger_use_by_month")]

    def __str__(self) -> str:
        return f"{self.site_id} {self.month:%Y-%m}"

    @property
    def used_range_l(self) -> tuple[float, float] | None:
        """Bounds of an estimated use at 90 % [L]; None where a meter tells it."""
        if self.used_l is None or self.used_sd_l is None or self.used_source != self.Source.ESTIMATED:
            return None
        return use_range_l(self.used_l, self.used_sd_l)


class LedgerSite(models.Model):
    """A site's baseline model and its saving since the change, or why there is none."""

    class Change(models.TextChoices):
        SENSOR = "sensor", "sensor"
        PROGRAM = "program", "program"

    site = models.OneToOneField("sites.Site", on_delete=models.CASCADE, related_name="ledger")
    as_of = models.DateField()
    change_on = models.DateField(null=True, blank=True)  # sensor or program change; null: comparison group
    change_by = models.CharField(max_length=10, choices=Change.choices, blank=True)
    is_pooled = models.BooleanField(default=False)  # baseline borrowed from gardens like it
    model = models.JSONField(null=True, blank=True)  # form, coefficients, n, CV(RMSE), NMBE, rho
    saved_l = models.FloatField(null=True, blank=True)
    saved_low_l = models.FloatField(null=True, blank=True)
    saved_high_l = models.FloatField(null=True, blank=True)
    predicted_l = models.FloatField(null=True, blank=True)
    fsu = models.FloatField(null=True, blank=True)
    verdict = models.CharField(max_length=200, blank=True)  # "not enough data: ..." or empty

    class Meta:
        ordering = ["site_id"]

    def __str__(self) -> str:
        return f"ledger of {self.site_id}"


class LedgerPortfolio(models.Model):
    """The whole book's saving over a span, with its own interval: bounds are never added up."""

    period_start = models.DateField()
    period_end = models.DateField()  # exclusive
    values = models.JSONField()

    class Meta:
        ordering = ["period_start"]
        constraints = [
            models.UniqueConstraint(
                fields=["period_start", "period_end"], name="ledger_portfolio_once_a_span"
            )
        ]

    def __str__(self) -> str:
        return f"{self.period_start} to {self.period_end}"


class MeterLeak(models.Model):
    """Use of a meter that did not stop: from when, how much, and whether it still runs."""

    class Basis(models.TextChoices):
        HOURS = "hours", "hourly reads"
        DAYS = "days", "daily reads"

    meter = models.ForeignKey("sites.Meter", on_delete=models.CASCADE, related_name="leaks")
    since = models.DateField()
    until = models.DateField()  # exclusive: the day after the last one on which it was seen
    rate_l_h = models.FloatField()
    litres = models.FloatField()
    basis = models.CharField(max_length=10, choices=Basis.choices)
    is_open = models.BooleanField(default=True)  # the newest reads still show it

    class Meta:
        ordering = ["-since", "meter_id"]
        constraints = [
            models.UniqueConstraint(fields=["meter", "since"], name="meter_leak_once_a_start"),
            models.CheckConstraint(condition=Q(until__gt=F("since")), name="meter_leak_ends_after_start"),
            models.CheckConstraint(
                condition=Q(rate_l_h__gte=0, litres__gte=0), name="meter_leak_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.meter_id} since {self.since}"

    @property
    def last_day(self) -> date:
        """Last day on which it was seen."""
        return self.until - timedelta(days=1)
