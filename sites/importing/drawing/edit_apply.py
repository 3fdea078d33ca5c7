"""A drawing after edits: what follows from them by itself, and which edits have nothing to work on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import shapely

from sites.calc.geometry.areas import area_m2, as_array
from sites.importing.book.items import assumed_columns, defaults_of
from sites.importing.book.kinds import KINDS
from sites.importing.drawing.drawing import FIELDS, Drawing, DrawnThing
from sites.importing.drawing.edits import Edit, EditProblem

GONE = "it is not in the book any more"


def apply_edits(drawing: Drawing, edits: Iterable[Edit]) -> tuple[Drawing, list[EditProblem]]:
    """The drawing after the edits; an edit of a thing that is gone is a problem.

    Parameters
    ----------
    drawing
        As the book holds it.
    edits
        Edits whose cells are sound.
    """
    things = dict(drawing.things)
    problems: list[EditProblem] = []
    edits = list(edits)
    for edit in edits:
        known = things.get(edit.id)
        if edit.deed == "add" and known is None:
            things[edit.id] = _added(edit)
        elif known is None or known.kind != edit.kind or edit.deed == "add":
            problems.append(
                EditProblem(edit.id, "", GONE if known is None else "it stands in the book already")
            )
        elif edit.deed == "remove":
            del things[edit.id]
        else:
            things[edit.id] = _changed(known, edit)
    _follow_zones(things, drawing)
    _let_sensors_govern(things, drawing, {edit.id: edit for edit in edits})
    return replace(drawing, things=_measured(things, drawing)), problems


def _added(edit: Edit) -> DrawnThing:
    """A new thing: what the page says, defaults for the rest."""
    fields: dict[str, object] = dict.fromkeys(FIELDS[edit.kind]) | {
        name: value for name, value in defaults_of(edit.kind).items() if name in FIELDS[edit.kind]
    }
    fields |= edit.fields
    if edit.kind == "controller" and "assumed" not in edit.fields:
        given = {name for name, value in edit.fields.items() if value not in (None, "")}
        fields["assumed"] = " ".join(sorted({column.name for column in assumed_columns(edit.kind)} - given))
    return DrawnThing(edit.id, edit.kind, fields, edit.shape)


def _changed(known: DrawnThing, edit: Edit) -> DrawnThing:
    """A thing with its new values; a value that somebody gives is not assumed any longer."""
    fields = dict(known.fields) | dict(edit.fields)
    if known.kind == "controller" and "assumed" not in edit.fields:
        fields["assumed"] = " ".join(
            name for name in known.text("assumed").split() if name not in edit.fields
        )
    return DrawnThing(known.id, known.kind, fields, edit.shape if edit.has_shape else known.shape)


def _follow_zones(things: dict[str, DrawnThing], before: Drawing) -> None:
    """Heads go with their zone when it goes."""
    for thing in before.of("sprinkler"):
        if thing.id in things and thing.text("zone") not in things:
            del things[thing.id]


def _let_sensors_govern(things: dict[str, DrawnThing], before: Drawing, edits: dict[str, Edit]) -> None:
    """A controller is governed while it has a sensor, unless the page says otherwise."""
    sensed = {thing.text("controller") for thing in things.values() if thing.kind == "sensor"}
    had = {thing.text("controller") for thing in before.of("sensor")}
    for thing in [one for one in things.values() if one.kind == "controller"]:
        code = thing.text("controller")
        edit = edits.get(thing.id)
        if (code in sensed) != (code in had) and (edit is None or "governed" not in edit.fields):
            fields = dict(thing.fields)
            fields["governed"] = code in sensed
            fields["assumed"] = " ".join(name for name in thing.text("assumed").split() if name != "governed")
            things[thing.id] = replace(thing, fields=fields)


def _measured(things: dict[str, DrawnThing], before: Drawing) -> dict[str, DrawnThing]:
    """Things whose drawn zones have the area of their shape; one whose shape stays keeps its area."""
    drawn = [thing for thing in things.values() if thing.kind == "zone" and thing.shape is not None]
    areas = area_m2(as_array([thing.shape for thing in drawn]))
    for thing, area in zip(drawn, areas, strict=True):
        stays = _same_shape(thing, before)
        value = before.things[thing.id].fields["area_m2"] if stays else round(float(area), 3)
        things[thing.id] = replace(thing, fields=dict(thing.fields) | {"area_m2": value})
    return things


def _same_shape(thing: DrawnThing, before: Drawing) -> bool:
    """Whether a thing's shape is that of before."""
    old = before.things.get(thing.id)
    if old is None or old.shape is None:
        return False
    return bool(shapely.equals_exact(old.shape, thing.shape))


def required_fields(kind: str) -> frozenset[str]:
    """Fields that a thing of a kind cannot be without."""
    return frozenset(column.name for column in KINDS[kind].columns if column.required) & {*FIELDS[kind]}
