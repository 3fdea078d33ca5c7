"""Watering rules of suppliers and towns, dated."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q


class RuleSet(models.Model):
    """A named set of watering rules."""

    code = models.CharField(max_length=60, unique=True)
    supplier = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class RuleStage(models.Model):
    """One dated stage of a rule set, as its file told it; `sites.calc.rules.stages` reads `spec`."""

    rule_set = models.ForeignKey(RuleSet, on_delete=models.CASCADE, related_name="stages")
    name = models.CharField(max_length=80)
    starts_on = models.DateField(null=True, blank=True)  # null: always was
    ends_on = models.DateField(null=True, blank=True)  # exclusive; null: no end known
    spec = models.JSONField()
    source = models.CharField(max_length=300, blank=True)
    checked_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["rule_set_id", "starts_on", "name"]
        constraints = [
            models.UniqueConstraint(fields=["rule_set", "name"], name="rule_stage_once_a_set"),
            models.CheckConstraint(
                condition=Q(starts_on__isnull=True) | Q(ends_on__isnull=True) | Q(ends_on__gt=F("starts_on")),
                name="rule_stage_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rule_set_id} {self.name}"
