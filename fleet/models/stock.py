"""Parts: the catalogue, what a kind of visit asks for, the places that hold them, and every movement."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fleet.models.needs import VisitKind
from fleet.models.people import Technician


class Part(models.Model):
    """A thing that is used up at a visit, in plain words of the trade: no make, no model."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80, unique=True)  # singular, small letters: `watertight splice`
    unit = models.CharField(max_length=20, default="piece")  # piece, m, pack
    price = models.FloatField(null=True, blank=True)  # to a customer, of one unit; null: not known
    is_active = models.BooleanField(default=True)  # False: no longer loaded; what is left still counts

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(price__isnull=True) | Q(price__gte=0), name="part_price_not_negative"
            )
        ]

    def __str__(self) -> str:
        return self.name


class PartForKind(models.Model):
    """Parts without which a kind of visit cannot be done."""

    kind = models.CharField(max_length=20, choices=VisitKind.choices)
    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="for_kinds")
    count = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["kind", "part__name"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "part"], name="part_for_kind_once"),
            models.CheckConstraint(condition=Q(count__gte=1), name="part_for_kind_at_least_one"),
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.count} {self.part_id}"


class StockPlace(models.Model):
    """A depot, or the truck of one technician."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    technician = models.OneToOneField(
        Technician, on_delete=models.CASCADE, null=True, blank=True, related_name="truck"
    )  # null: a depot

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name

    @property
    def is_truck(self) -> bool:
        """Whether it drives."""
        return self.technician_id is not None


class StockMinimum(models.Model):
    """How many of a part a place should hold; below it stands on the list of what to load or buy."""

    place = models.ForeignKey(StockPlace, on_delete=models.CASCADE, related_name="minima")
    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="minima")
    least = models.PositiveIntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["place", "part"], name="stock_minimum_once")]

    def __str__(self) -> str:
        return f"{self.place_id} {self.part_id} {self.least}"


class StockMove(models.Model):
    """One line of the ledger of parts: what came to a place (+) or left it (-). Its sum is the stock.

    Lines are never changed or taken out: what was wrong is taken back by a line of the opposite sign.
    """

    class Kind(models.TextChoices):
        BOUGHT = "bought", "bought in"
        LOAD = "load", "loaded"
        RETURN = "return", "brought back"
        USE = "use", "used at a visit"
        COUNT = "count", "counted"
        UNDO = "undo", "taken back"

    deed = models.CharField(max_length=120)  # lines of one deed; the same deed is written once
    kind = models.CharField(max_length=8, choices=Kind.choices)
    place = models.ForeignKey(StockPlace, on_delete=models.PROTECT, related_name="moves")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="moves")
    change = models.IntegerField()
    finding = models.ForeignKey(
        "fleet.Finding", on_delete=models.SET_NULL, null=True, blank=True, related_name="stock_moves"
    )
    at = models.DateTimeField()
    by = models.CharField(max_length=150)
    note = models.CharField(max_length=200, blank=True)
    undoes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="undone_by"
    )

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["deed", "place", "part"], name="stock_move_once_a_deed"),
            models.CheckConstraint(condition=~Q(change=0), name="stock_move_moves_something"),
        ]
        indexes = [models.Index(fields=["place", "part"], name="stock_move_by_place")]

    def __str__(self) -> str:
        return f"{self.deed} {self.change:+d}"
