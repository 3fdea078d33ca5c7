"""What else lies in the garden: valve boxes, wires, structures, sprinklers, fixtures."""

from __future__ import annotations

from django.db import models

from sites.models.choices import FixtureKind, StructureType
from sites.models.geometry import Shaped
from sites.models.site import Site
from sites.models.zone import Zone


class ValveBox(Shaped):
    """A box in the ground with valves; spare conductors in it shorten a dig."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="valve_boxes")
    name = models.CharField(max_length=60)
    spare_wires = models.PositiveSmallIntegerField(null=True, blank=True)  # null: not known

    class Meta:
        ordering = ["site_id", "name"]
        verbose_name_plural = "valve boxes"
        constraints = [models.UniqueConstraint(fields=["site", "name"], name="valve_box_once_a_site")]

    def __str__(self) -> str:
        return self.name


class Wire(Shaped):
    """A known wire way."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="wires")
    fingerprint = models.CharField(max_length=40)  # of the geometry: the file gives wires no name
    conductors = models.PositiveSmallIntegerField(null=True, blank=True)
    spare = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["site_id", "id"]
        constraints = [models.UniqueConstraint(fields=["site", "fingerprint"], name="wire_once_a_site")]

    def __str__(self) -> str:
        return f"wire {self.pk}"


class Structure(Shaped):
    """A building, paving, wall, pool or tree."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="structures")
    fingerprint = models.CharField(max_length=40)
    type = models.CharField(max_length=10, choices=StructureType.choices)

    class Meta:
        ordering = ["site_id", "id"]
        constraints = [models.UniqueConstraint(fields=["site", "fingerprint"], name="structure_once_a_site")]

    def __str__(self) -> str:
        return f"{self.type} {self.pk}"


class Sprinkler(Shaped):
    """One head of a zone."""

    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="sprinklers")
    fingerprint = models.CharField(max_length=40)

    class Meta:
        ordering = ["zone_id", "id"]
        constraints = [models.UniqueConstraint(fields=["zone", "fingerprint"], name="sprinkler_once_a_zone")]

    def __str__(self) -> str:
        return f"sprinkler {self.pk}"


class Fixture(Shaped):
    """A water meter, shutoff or backflow preventer."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="fixtures")
    kind = models.CharField(max_length=20, choices=FixtureKind.choices)
    fingerprint = models.CharField(max_length=40)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["site_id", "kind", "id"]
        constraints = [
            models.UniqueConstraint(fields=["site", "kind", "fingerprint"], name="fixture_once_a_site")
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"
