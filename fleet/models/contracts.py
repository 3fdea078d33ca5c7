"""Service contracts: what a customer bought."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from fleet.models.needs import VisitKind


class ServiceContract(models.Model):
    """What a customer bought: its days, its price, and how many visits it includes a year."""

    site = models.ForeignKey("sites.Site", on_delete=models.CASCADE, related_name="contracts")
    starts_on = models.DateField()
    ends_on = models.DateField()  # exclusive: the day of renewal
    # A year, of any kind, beside those that `ContractVisits` names.
    visits_included = models.PositiveSmallIntegerField()
    price = models.FloatField()  # a year
    currency = models.CharField(max_length=3)
    notice_days = models.PositiveSmallIntegerField(default=30)  # before its end, for whoever does not renew
    ended_why = models.CharField(max_length=200, blank=True)  # ended before its term, in words
    # Visits of any kind made before the book kept visits, in the contract's year around `used_as_of`.
    used_before = models.PositiveSmallIntegerField(default=0)
    used_as_of = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["site_id", "starts_on"]
        constraints = [
            models.UniqueConstraint(fields=["site", "starts_on"], name="contract_once_a_start"),
            models.CheckConstraint(condition=Q(ends_on__gt=F("starts_on")), name="contract_ends_after_start"),
        ]
        indexes = [models.Index(fields=["ends_on"], name="contract_by_end")]

    def __str__(self) -> str:
        return f"{self.site_id} from {self.starts_on}"


class ContractVisits(models.Model):
    """Visits of one kind that a contract includes a year."""

    contract = models.ForeignKey(ServiceContract, on_delete=models.CASCADE, related_name="included")
    kind = models.CharField(max_length=20, choices=VisitKind.choices)
    count = models.PositiveSmallIntegerField()
    used_before = models.PositiveSmallIntegerField(default=0)  # as of the contract's `used_as_of`

    class Meta:
        ordering = ["contract_id", "kind"]
        constraints = [
            models.UniqueConstraint(fields=["contract", "kind"], name="contract_visits_once_a_kind"),
            models.CheckConstraint(condition=Q(count__gte=1), name="contract_visits_at_least_one"),
        ]

    def __str__(self) -> str:
        return f"{self.contract_id}: {self.count} {self.kind}"
