"""What somebody measured of a zone: cans, flow, pressure, heads."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from sites.models.zone import Zone


class ZoneAudit(models.Model):
    """One audit of one zone. The zone itself carries what the newest audit gives; this row says from what."""

    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="audits")
    client_key = models.CharField(max_length=64)  # of the form: sending it twice records once
    done_on = models.DateField()
    done_by = models.CharField(max_length=120)
    recorded_by = models.CharField(max_length=150)
    recorded_at = models.DateTimeField()
    catch_ml = models.JSONField(default=list)  # of each can, in the order of entry; empty: no cans
    throat_area_cm2 = models.FloatField(null=True, blank=True)
    run_min = models.FloatField(null=True, blank=True)
    flow_l_min = models.FloatField(null=True, blank=True)
    area_m2 = models.FloatField(null=True, blank=True)  # that the flow fell on
    pressure_kpa = models.FloatField(null=True, blank=True)  # at a head while the zone runs
    static_pressure_kpa = models.FloatField(null=True, blank=True)  # at the supply, all off
    wind_m_s = models.FloatField(null=True, blank=True)
    heads = models.JSONField(default=dict)  # class of head -> how many stand in the zone
    is_mixed = models.BooleanField(default=False)  # heads of different precipitation rate in one zone
    distribution_uniformity = models.FloatField(null=True, blank=True)
    precipitation_rate_mm_h = models.FloatField(null=True, blank=True)
    before = models.JSONField(default=dict)  # what the zone carried before, of what this audit changed
    note = models.CharField(max_length=400, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["-done_on", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["zone", "client_key"], name="zone_audit_once_a_form"),
            models.CheckConstraint(
                condition=Q(distribution_uniformity__isnull=True)
                | Q(distribution_uniformity__gt=0, distribution_uniformity__lte=1),
                name="zone_audit_uniformity_in_0_1",
            ),
            models.CheckConstraint(
                condition=Q(precipitation_rate_mm_h__isnull=True) | Q(precipitation_rate_mm_h__gt=0),
                name="zone_audit_rate_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.zone_id} {self.done_on}"
