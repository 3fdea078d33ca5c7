"""Quotes: what extra work would cost a customer, and the customer's word on it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models.stock import Part


class Quote(models.Model):
    """Extra work offered to a customer; it is planned only once it is approved."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        SENT = "sent", "sent, waits for the customer"
        APPROVED = "approved", "approved"
        DECLINED = "declined", "declined"
        EXPIRED = "expired", "expired"

    site = models.ForeignKey("sites.Site", on_delete=models.CASCADE, related_name="quotes")
    title = models.CharField(max_length=120)
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    currency = models.CharField(max_length=3)
    tax_share = models.FloatField(default=0)  # 0.08 is 8 %
    words = models.TextField(blank=True)  # what is done, for the customer
    made_on = models.DateField()
    made_by = models.CharField(max_length=150)
    sent_on = models.DateField(null=True, blank=True)
    valid_until = models.DateField(null=True, blank=True)  # the last day on which it may be approved
    decided_on = models.DateField(null=True, blank=True)
    decided_how = models.CharField(max_length=200, blank=True)  # who said so, by phone, by mail

    class Meta:
        ordering = ["-made_on", "-id"]
        indexes = [models.Index(fields=["state", "valid_until"], name="quote_by_state")]
        constraints = [
            models.CheckConstraint(
                condition=Q(tax_share__gte=0, tax_share__lt=1), name="quote_tax_is_a_share"
            ),
            models.CheckConstraint(
                condition=Q(state="draft") | Q(sent_on__isnull=False, valid_until__isnull=False),
                name="quote_sent_has_its_days",
            ),
        ]

    def __str__(self) -> str:
        return f"Q-{self.pk}"


class QuoteLine(models.Model):
    """One line: so many of something at a price."""

    quote = models.ForeignKey(Quote, on_delete=models.CASCADE, related_name="lines")
    order = models.PositiveSmallIntegerField()
    part = models.ForeignKey(
        Part, on_delete=models.SET_NULL, null=True, blank=True, related_name="quote_lines"
    )
    words = models.CharField(max_length=160)
    count = models.FloatField()
    unit = models.CharField(max_length=20)
    unit_price = models.FloatField()

    class Meta:
        ordering = ["quote_id", "order"]
        constraints = [
            models.UniqueConstraint(fields=["quote", "order"], name="quote_line_once_a_place"),
            models.CheckConstraint(condition=Q(count__gt=0), name="quote_line_has_a_count"),
        ]

    def __str__(self) -> str:
        return self.words

    @property
    def total(self) -> float:
        """Money of the line."""
        return round(self.count * self.unit_price, 2)
