"""What was changed in the book, by whom, from what to what."""

from __future__ import annotations

from typing import Final

from django.db import models

RESTORABLE: Final = frozenset(
    {
        "site", "controller", "zone", "sensor", "valve_box", "wire", "structure", "sprinkler",
        "water_meter", "shutoff", "backflow_preventer", "station_exchange",
    }
)  # fmt: skip


class Change(models.Model):
    """One change of one thing. The name of who did it is kept as text: it outlives the account."""

    IMPORTED = "site book imported"
    """How the reason of a change begins that came with a file."""

    class Action(models.TextChoices):
        ADDED = "added"
        CHANGED = "changed"
        REMOVED = "removed"

    at = models.DateTimeField()
    by = models.CharField(max_length=150)
    kind = models.CharField(max_length=30)  # site, zone, sensor, program_set, recommendation, visit, ...
    key = models.CharField(max_length=160)  # natural key, e.g. `CB-14/A/3`
    # Row of the thing where it is known: the natural key may go to another thing later.
    thing_id = models.BigIntegerField(null=True, blank=True)
    site_code = models.CharField(max_length=40, blank=True)
    action = models.CharField(max_length=8, choices=Action.choices)
    before = models.JSONField(null=True, blank=True)  # only the fields that differ
    after = models.JSONField(null=True, blank=True)
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [
            models.Index(fields=["site_code", "-at"], name="change_by_site"),  # site page's history
            models.Index(fields=["kind", "key"], name="change_by_thing"),  # of settings, needs, people
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.key} {self.action}"


def can_restore(change: Change) -> bool:
    """Whether an entry tells enough to be taken back: things of the drawing, and exchanged wires."""
    return change.kind in RESTORABLE
