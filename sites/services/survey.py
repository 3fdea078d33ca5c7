"""Answers of a survey: each goes into the site book at once, by the rules of an imported one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Final

import numpy as np
import shapely
from django.db import transaction
from django.db.models import Max

from sites.calc.geometry.areas import great_circle_m
from sites.calc.geometry.report import FAR_FROM_SITE_M
from sites.calc.soil import FIELD_CAPACITY_KPA
from sites.importing.book.items import SHAPE_KEYED, BookItem, fingerprint
from sites.importing.book.kinds import KINDS
from sites.models import Controller, Sensor, Site, ValveBox, Zone
from sites.services.book import record_item
from weather.importing.rows import CellError, Column

# What a survey may say of each kind.
ANSWERABLE: Final[dict[str, tuple[str, ...]]] = {
    "site": ("name", "address", "customer", "phone", "email", "access_notes", "gate_code", "visit_from",
             "visit_to", "soil", "slope_pct", "supplier", "rule_set"),
    "controller": ("station_count", "program_count", "starts_per_program", "max_run_min", "minute_step",
                   "day_modes", "station_order", "stations_at_once", "flow_limit_l_min", "governed",
                   "gating"),
    "zone": ("name", "plant", "head", "area_m2", "soil", "slope_pct", "root_depth_mm", "sun", "planted_on"),
    "sensor": ("station", "depth_mm", "threshold_steps_kpa", "threshold_kpa", "installed_on"),
    "valve_box": ("spare_wires",),
    "water_meter": ("note",),
    "shutoff": ("note",),
    "backflow_preventer": ("note",),
}  # fmt: skip
REASON: Final = "survey"
Place = tuple[float, float]  # longitude, latitude [degrees]


class BadThing(ValueError):
    """The thing itself cannot be: unknown kind, missing key, place far off."""


@dataclass(frozen=True, slots=True)
class SurveyAnswered:
    """What was written, and what was refused with what was expected; by column."""

    saved: tuple[str, ...]
    refused: dict[str, str]
    is_new: bool = False


@transaction.atomic
def answer_survey(
    *,
    site: Site,
    kind: str,
    key: tuple[str, ...],
    answers: Mapping[str, str],
    place: Place | None,
    today: date,
    by: str,
    at: datetime,
) -> SurveyAnswered:
    """Write what is good of some answers about one thing, which is added where the book has none.

    Parameters
    ----------
    site
        The site.
    kind, key
        The thing: its kind, and its natural key below the site (`A`, `3`), as texts.
    answers
        Text by column, in SI; an empty text takes the value away.
    place
        Where it stands; None: not said.
    today, by, at
        For checks of days and for the history.

    Raises
    ------
    BadThing
        Nothing of it can be written.
    """
    if kind not in ANSWERABLE:
        raise BadThing(f"a survey says nothing of {kind[:20]!r}")
    shape = _point(site, place)
    values = _keys(site, kind, key)
    given, refused = _read(kind, answers, values)
    full_key = (site.code, *(values[name] for name in KINDS[kind].key[1:]))
    if kind in SHAPE_KEYED:
        if shape is None:
            raise BadThing("where it stands: longitude and latitude")
        full_key = (*full_key, fingerprint(shape))
    item = BookItem(0, "", kind, tuple(_key_part(part) for part in full_key), values, frozenset(given), shape)
    refused |= _contradictions(site, item, today)
    for name in refused:
        item.values.pop(name, None)
    item.given = item.given.difference(refused)
    _whole_enough(item, refused)
    change = record_item(item=item, today=today, now=at, by=by, timezone=site.timezone, reason=REASON)
    if kind == "sensor":
        _let_it_govern(site, item, today=today, by=by, at=at)
    if change is None:
        return SurveyAnswered((), refused)
    saved = tuple(name for name in ANSWERABLE[kind] if name in answers and name in change.after)
    is_placed = shape is not None and (change.before is None or "geometry" in change.before)
    return SurveyAnswered((*saved, "place") if is_placed else saved, refused, change.before is None)


def _read(
    kind: str, answers: Mapping[str, str], values: dict[str, object]
) -> tuple[set[str], dict[str, str]]:
    """Answers into values; which of them are not empty, and what was refused."""
    given: set[str] = set()
    refused: dict[str, str] = {}
    for column in KINDS[kind].columns:
        if column.name not in answers or column.name not in ANSWERABLE[kind]:
            continue
        try:
            text = answers[column.name].strip()
            values[column.name] = _value(column, text)
            if text:
                given.add(column.name)
        except CellError as error:
            refused[column.name] = str(error)
    return given, refused


def _value(column: Column, text: str) -> object:
    """The value of a text; empty takes it away where that can be."""
    if text:
        return column.parse(text)
    if column.required:
        raise CellError(f"a value for {column.name}")
    return column.default


def _keys(site: Site, kind: str, key: tuple[str, ...]) -> dict[str, object]:
    """Key columns of a thing as values, the site first."""
    names = KINDS[kind].key[1:]
    if len(key) != len(names):
        raise BadThing(f"a {kind} is named by {' and '.join(names) or 'its site alone'}")
    values: dict[str, object] = {"site": site.code}
    columns = {column.name: column for column in KINDS[kind].columns}
    for name, text in zip(names, key, strict=True):
        try:
            values[name] = columns[name].parse(text.strip()) if text.strip() else ""
        except CellError as error:
            raise BadThing(f"{name}: {error}") from error
        if values[name] == "":
            raise BadThing(f"{name}: a value is needed")
    return values


def _key_part(value: object) -> str | int:
    """A part of a natural key."""
    return value if isinstance(value, int) else str(value)


def _point(site: Site, place: Place | None) -> shapely.Point | None:
    """The point of a place, if it lies near its site."""
    if place is None:
        return None
    if not (-180 <= place[0] <= 180 and -90 <= place[1] <= 90):
        raise BadThing("a longitude from -180 to 180 and a latitude from -90 to 90")
    if site.longitude is not None and site.latitude is not None:
        away = float(great_circle_m(*np.array([*place, site.longitude, site.latitude])))
        if away > FAR_FROM_SITE_M:
            raise BadThing(f"that is {away / 1000:.1f} km from the garden; was the place taken elsewhere?")
    return shapely.Point(round(place[0], 8), round(place[1], 8))


def _contradictions(site: Site, item: BookItem, today: date) -> dict[str, str]:
    """What contradicts the rest of the book, by column."""
    check = {"site": _site_faults, "controller": _controller_faults, "zone": _zone_faults}.get(item.kind)
    if check is not None:
        return check(site, item)
    return _sensor_faults(site, item, today) if item.kind == "sensor" else {}


def _site_faults(site: Site, item: BookItem) -> dict[str, str]:
    """Access hours in order."""
    opens = item.values.get("visit_from", site.visit_from)
    closes = item.values.get("visit_to", site.visit_to)
    if isinstance(opens, time) and isinstance(closes, time) and opens >= closes:
        expected = f"hours in order, not {opens:%H:%M} to {closes:%H:%M}"
        return {name: expected for name in ("visit_from", "visit_to") if name in item.values}
    return {}


def _controller_faults(site: Site, item: BookItem) -> dict[str, str]:
    """Enough stations for the zones that are there."""
    code = str(item.values["controller"])
    top = Zone.objects.filter(controller__site=site, controller__code=code).aggregate(top=Max("station"))[
        "top"
    ]
    stations = item.number("station_count")
    if stations is not None and top is not None and stations < top:
        return {"station_count": f"at least {top}, the highest station with a zone in the book"}
    return {}


def _zone_faults(site: Site, item: BookItem) -> dict[str, str]:
    """A station that the controller has; an area that is not drawn."""
    _, code = item.controller
    controller = Controller.objects.filter(site=site, code=code).first()
    if controller is None:
        raise BadThing(f"controller: {code} is none of site {site.code}")
    if item.station > controller.station_count:
        raise BadThing(f"station: up to {controller.station_count}")
    stored = Zone.objects.filter(controller=controller, station=item.station).only("min_lon").first()
    if "area_m2" in item.values and stored is not None and stored.min_lon is not None:
        return {"area_m2": "no area here: it follows the shape that is drawn"}
    return {}


def _sensor_faults(site: Site, item: BookItem, today: date) -> dict[str, str]:
    """A governing zone of the book, a threshold that can work and is offered, a day that has been."""
    _, code = item.controller
    if not Controller.objects.filter(site=site, code=code).exists():
        raise BadThing(f"controller: {code} is none of site {site.code}")
    faults = {}
    zones = Zone.objects.filter(controller__site=site, controller__code=code)
    if "station" in item.values and not zones.filter(station=item.station).exists():
        faults["station"] = "a station that has a zone in the book"
    installed = item.values.get("installed_on")
    if isinstance(installed, date) and installed > today:
        faults["installed_on"] = f"a day up to {today.isoformat()}"
    stored = Sensor.objects.filter(controller__site=site, controller__code=code).first()
    threshold = item.number("threshold_kpa")
    steps = str(item.values.get("threshold_steps_kpa", stored.threshold_steps_kpa if stored else "") or "")
    offered = [float(step) for step in steps.split(";") if step]
    if threshold is not None and threshold <= FIELD_CAPACITY_KPA:
        faults["threshold_kpa"] = f"more than {FIELD_CAPACITY_KPA:g} kPa, to which soil drains by itself"
    elif threshold is not None and offered and all(abs(threshold - step) > 1e-6 for step in offered):
        faults["threshold_kpa"] = "one of the unit's settings: " + ", ".join(f"{step:g}" for step in offered)
    return faults


def _whole_enough(item: BookItem, refused: Mapping[str, str]) -> None:
    """Refuse to add a thing that lacks what its kind must have."""
    if _is_known(item):
        return
    required = [column.name for column in KINDS[item.kind].columns if column.required]
    required += ["area_m2"] if item.kind == "zone" else []
    for name in required:
        if item.values.get(name) in (None, ""):
            raise BadThing(f"{name.replace('_', ' ')}: {refused.get(name, 'a value is needed')}")
    if KINDS[item.kind].needs_shape and item.shape is None:
        raise BadThing("where it stands: longitude and latitude")


def _is_known(item: BookItem) -> bool:
    """Whether the book has the thing already."""
    if item.kind == "site":
        return True
    if item.kind == "controller":
        return Controller.objects.filter(site__code=item.site, code=item.key[1]).exists()
    if item.kind == "zone":
        mine = Zone.objects.filter(controller__site__code=item.site, controller__code=item.key[1])
        return mine.filter(station=item.station).exists()
    if item.kind == "sensor":
        return Sensor.objects.filter(controller__site__code=item.site, controller__code=item.key[1]).exists()
    return (
        item.kind == "valve_box" and ValveBox.objects.filter(site__code=item.site, name=item.key[1]).exists()
    )


def _let_it_govern(site: Site, item: BookItem, *, today: date, by: str, at: datetime) -> None:
    """A sensor that stands there can block its controller."""
    _, code = item.controller
    values: dict[str, object] = {"site": site.code, "controller": code, "governed": True}
    governs = BookItem(0, "", "controller", (site.code, code), values, frozenset({"governed"}), None)
    record_item(item=governs, today=today, now=at, by=by, timezone=site.timezone, reason=REASON)
