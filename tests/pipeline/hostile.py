"""Names as somebody with bad intent would type them, written over everything that people may name."""

from __future__ import annotations

from django.db.models import CharField, F, Model, Value
from django.db.models.functions import Cast, Concat

from fleet.models import Company, Finding, Flag, Tariff, Technician, VisitNeed, WatchState
from sites.models import Change, Fixture, Sensor, Site, ValveBox, Zone
from weather.models import Location

HOSTILE = "<script>alert(1)</script>${7*7}\"'><img src=x onerror=alert(1)>{{7*7}}"
FORMULA = "=HYPERLINK(1)+cmd|' /C calc'!A0"  # a cell that spreadsheets calculate
SHORT = "<script>alert(1)</script>${7*7}"  # 31 letters, for the short columns

_TEXT: tuple[tuple[type[Model], tuple[str, ...]], ...] = (
    (Site, ("name", "address", "customer", "access_notes")),
    (Zone, ("name",)),
    (Technician, ("name",)),
    (VisitNeed, ("reason", "note", "blocked_by")),
    (Finding, ("note", "parts_used", "follow_up")),
    (Flag, ("evidence",)),
    (WatchState, ("evidence",)),
    (Fixture, ("note",)),
    (Company, ("name",)),
    (Change, ("by", "reason")),
)


def write_hostile_names(long: str = HOSTILE, short: str = SHORT) -> None:
    """Put the hostile text wherever people or files may put text."""
    for model, names in _TEXT:
        model._default_manager.update(**dict.fromkeys(names, long))
    for model, name in ((ValveBox, "name"), (Location, "name"), (Tariff, "supplier")):
        model._default_manager.update(**{name: Concat(Value(short), Cast(F("pk"), CharField()))})
    Site.objects.update(phone=short, gate_code=short, supplier=short)
    assert Sensor.objects.exists()  # what is drawn on maps is there
