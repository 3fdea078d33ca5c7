"""Words and units of a file that somebody brings: theirs and ours, with its first rows as they come in."""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from fleet.services.bring.file_seen import ColumnSeen, FileSeen, LayerSeen, kept_seen
from fleet.services.bring.table_layout import columns_named, lacking
from fleet.services.bring.uploads import Upload, forget_outcome, keep_upload, remember_layout, upload_folder
from fleet.views.bring_parts import asked_upload, look_anew
from sites.importing.book.foreign_units import units_of
from sites.importing.book.foreign_words import foreign_words, guessed_word, words_of
from sites.importing.book.layout import BookLayout, LayerLayout
from weather.importing.rows import Column


@dataclass(frozen=True, slots=True)
class Asked:
    """One line of the form: the names of its fields, theirs, what it may be, and what it is."""

    field: str
    ours: str
    theirs: str
    samples: tuple[str, ...]
    may_be: tuple[str, ...]
    chosen: str


@require_POST
def bring_words(request: HttpRequest, key: str) -> HttpResponse:
    """Settle words, units and values that the file lacks, and remember them for its column names."""
    upload, folder = asked_upload(request, key), upload_folder()
    seen = kept_seen(folder=folder, upload=upload)
    if seen is None or upload.layout is None:
        return redirect("fleet:bring-file", key=key)
    layers = dict(upload.layout.layers)
    for at, layer in enumerate(seen.layers):
        if layer.name in layers:
            layers[layer.name] = _settled(request, at, layer, layers[layer.name])
            remember_layout(folder=folder, columns=layer.names, layout=layers[layer.name])
    shows_rows = request.POST.get("do") == "rows"
    layout = replace(upload.layout, layers=layers)
    upload = replace(upload, layout=layout, accepted={}, asks_words=shows_rows)
    keep_upload(folder=folder, upload=upload)
    forget_outcome(folder=folder, upload=upload)
    if not shows_rows:
        look_anew(request, upload)
    return redirect("fleet:bring-file", key=key)


def asks_for_words(seen: FileSeen, layout: BookLayout) -> bool:
    """Whether a file has units, words or missing values that nobody has settled for its column names."""
    return any(
        _asks(at, layer, layout.layers[layer.name])
        for at, layer in enumerate(seen.layers)
        if layer.name in layout.layers
    )


def _asks(at: int, layer: LayerSeen, plan: LayerLayout) -> bool:
    """Whether a person must look: at new words, at units for the first time, at columns that are missing."""
    known = {ours: set(words) for ours, words in plan.words.items()}
    new = any(one.theirs.strip().lower() not in known.get(one.ours, ()) for one in _words(at, layer, plan))
    lacks = any(one.name not in plan.fixed for one in lacking(plan))
    return new or lacks or (not plan.is_settled and bool(_units(at, layer, plan)))


def words_page(request: HttpRequest, upload: Upload, layout: BookLayout, seen: FileSeen) -> HttpResponse:
    """The form of words and units, and the first rows as they would come in."""
    layers = []
    for at, layer in enumerate(seen.layers):
        plan = layout.layers.get(layer.name)
        if plan is None:
            continue
        layers.append(
            {
                "at": at, "name": layer.name, "kind": plan.kind, "units": _units(at, layer, plan),
                "words": _words(at, layer, plan), "lacks": _lacks(at, plan), "has_comma": plan.has_comma,
                "rows": _rows(layer, _as_chosen(at, layer, plan)), "names": _names(plan),
            }
        )  # fmt: skip
    context = {"upload": upload, "layers": layers, "notes": seen.notes}
    return render(request, "fleet/bring_words.html", context)


def _settled(request: HttpRequest, at: int, layer: LayerSeen, plan: LayerLayout) -> LayerLayout:
    """A layer's layout with what the form says; a unit, word or value that may not be is left out."""
    units = {
        one.ours: told
        for one in _units(at, layer, plan)
        if (told := request.POST.get(one.field, "")) in one.may_be
    }
    words = {ours: dict(theirs) for ours, theirs in plan.words.items()}
    for one in _words(at, layer, plan):
        told = request.POST.get(one.field, "")
        if told in one.may_be:
            words.setdefault(one.ours, {})[one.theirs.strip().lower()] = told
        else:
            words.get(one.ours, {}).pop(one.theirs.strip().lower(), None)
    fixed = {
        one.ours: told
        for one in _lacks(at, plan)
        if (told := request.POST.get(one.field, "").strip()[:200]) and (not one.may_be or told in one.may_be)
    }
    has_comma = request.POST.get(f"comma-{at}") == "yes"
    return replace(plan, units=units, words=words, fixed=fixed, has_comma=has_comma, is_settled=True)


def _pairs(layer: LayerSeen, plan: LayerLayout) -> list[tuple[int, ColumnSeen, Column]]:
    """Columns of a layer that are mapped, each with ours and its number."""
    ours = columns_named(plan.kind)
    return [
        (n, column, ours[plan.columns[column.name]])
        for n, column in enumerate(layer.columns)
        if plan.columns.get(column.name) in ours
    ]


def _units(at: int, layer: LayerSeen, plan: LayerLayout) -> list[Asked]:
    """Columns that may come in several units or ways of writing."""
    return [
        Asked(
            f"unit-{at}-{n}", ours.name, column.name, column.samples, units_of(ours.name),
            plan.units.get(ours.name, units_of(ours.name)[0]),
        )
        for n, column, ours in _pairs(layer, plan)
        if units_of(ours.name)
    ]  # fmt: skip


def _words(at: int, layer: LayerSeen, plan: LayerLayout) -> list[Asked]:
    """Words of the file that are none of ours, each with the one that was chosen or may be meant."""
    return [
        Asked(
            f"word-{at}-{n}-{m}", ours.name, word, (), words_of(ours),
            plan.words.get(ours.name, {}).get(word.strip().lower()) or guessed_word(ours, word),
        )
        for n, column, ours in _pairs(layer, plan)
        if words_of(ours)
        for m, word in enumerate(foreign_words(ours, column.words))
    ]  # fmt: skip


def _lacks(at: int, plan: LayerLayout) -> list[Asked]:
    """Columns that must be told and that the file does not have."""
    return [
        Asked(f"fixed-{at}-{one.name}", one.name, "", (), words_of(one), plan.fixed.get(one.name, ""))
        for one in lacking(plan)
    ]


def _as_chosen(at: int, layer: LayerSeen, plan: LayerLayout) -> LayerLayout:
    """The layout with the guesses that the form shows as chosen."""
    words = {ours: dict(theirs) for ours, theirs in plan.words.items()}
    for one in _words(at, layer, plan):
        if one.chosen:
            words.setdefault(one.ours, {})[one.theirs.strip().lower()] = one.chosen
    return replace(plan, words=words)


def _names(plan: LayerLayout) -> list[str]:
    """Our columns that a file gives."""
    return list(dict.fromkeys([*plan.columns.values(), *plan.fixed]))


def _rows(layer: LayerSeen, plan: LayerLayout) -> list[list[tuple[str, str]]]:
    """The first rows: of each cell what it was, where that differs, and what it would be."""
    names = _names(plan)
    back = {ours: theirs for theirs, ours in reversed(list(plan.columns.items()))}
    shown = []
    for row in layer.first:
        told = plan.cells(row)
        was = [row.get(back[name], "") if name in back else "" for name in names]
        now = [told.get(name, "") for name in names]
        shown.append([(old if old != new else "", new) for old, new in zip(was, now, strict=True)])
    return shown
