"""The columns of a file that somebody brings: what they mean, settled once and remembered."""

from __future__ import annotations

from dataclasses import replace

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from fleet.services.bring.file_seen import FileSeen, LayerSeen, kept_seen
from fleet.services.bring.kinds import KINDS, TABLES
from fleet.services.bring.table_layout import guess_of, kind_of_layouts, names_of
from fleet.services.bring.uploads import (
    Upload,
    forget_outcome,
    keep_upload,
    remember_layout,
    remembered_layout,
    upload_folder,
)
from fleet.views.bring_parts import asked_upload, look_anew
from fleet.views.bring_words import asks_for_words
from sites.importing.book.foreign_units import unit_named
from sites.importing.book.kinds import KINDS as BOOK_KINDS
from sites.importing.book.layout import BY_COLUMN, BookLayout, LayerLayout


@require_POST
def bring_columns(request: HttpRequest, key: str) -> HttpResponse:
    """Settle what the layers and columns of a file are, and remember it; words and units come next."""
    upload, folder = asked_upload(request, key), upload_folder()
    seen = kept_seen(folder=folder, upload=upload)
    if seen is None:
        return redirect("fleet:bring-file", key=key)
    layers: dict[str, LayerLayout] = {}
    for at, layer in enumerate(seen.layers):
        told = _told(request, at, layer)
        if told is not None and (told.kind not in TABLES or seen.form == "CSV"):
            layers[layer.name] = told
            remember_layout(folder=folder, columns=layer.names, layout=told)
    if not layers:
        messages.error(request, "No layer has a kind yet. Say for at least one what it holds.")
        return redirect(f"{request.path.removesuffix('columns/')}?columns=1")
    layout = BookLayout(layers, request.POST.get("crs", "")[:80].strip())
    asks = asks_for_words(seen, layout)
    upload = replace(upload, layout=layout, accepted={}, kind=kind_of_layouts(layers), asks_words=asks)
    keep_upload(folder=folder, upload=upload)
    forget_outcome(folder=folder, upload=upload)
    if not asks:
        look_anew(request, upload)
    return redirect("fleet:bring-file", key=key)


def _told(request: HttpRequest, at: int, layer: LayerSeen) -> LayerLayout | None:
    """What the form tells of a layer; words and units are those of the last time, else what names tell."""
    kind = request.POST.get(f"kind-{at}", "")
    if kind not in (*BOOK_KINDS, BY_COLUMN, *TABLES):
        return None
    names = names_of(kind)
    meant = {
        column: ours
        for n, column in enumerate(layer.names)
        if (ours := request.POST.get(f"column-{at}-{n}", "")) in names
    }
    old = remembered_layout(folder=upload_folder(), columns=layer.names)
    if old is not None and old.kind == kind and dict(old.columns) == meant:
        return old
    units = {ours: unit for theirs, ours in meant.items() if (unit := unit_named(theirs, ours))}
    kept = {} if old is None else {ours: words for ours, words in old.words.items() if ours in meant.values()}
    return LayerLayout(kind, meant, words=kept, units=units)


def columns_page(request: HttpRequest, upload: Upload, seen: FileSeen) -> HttpResponse:
    """The mapping of layers and columns, with guesses and samples."""
    layers = []
    is_table = seen.form == "CSV"
    for at, layer in enumerate(seen.layers):
        before = upload.layout.layers.get(layer.name) if upload.layout else None
        old = remembered_layout(folder=upload_folder(), columns=layer.names)
        guess = before or old or guess_of(
            layer.name, layer.names, frozenset(layer.shapes), is_table=is_table
        )  # fmt: skip
        columns = [
            (n, column.name, column.samples, guess.columns.get(column.name, ""))
            for n, column in enumerate(layer.columns)
        ]
        layers.append(
            {
                "at": at, "name": layer.name, "rows": layer.rows, "kind": guess.kind,
                "columns": columns, "shapes": layer.shapes, "is_remembered": old is not None,
                "lacks_crs": layer.lacks_crs,
            }
        )  # fmt: skip
    tables = [(kind, KINDS[kind].word, names_of(kind)) for kind in TABLES] if is_table else []
    context = {
        "upload": upload, "form": seen.form, "notes": seen.notes, "layers": layers,
        "kinds": list(BOOK_KINDS), "tables": tables, "ours": names_of(BY_COLUMN), "problems": seen.problems,
    }  # fmt: skip
    return render(request, "fleet/bring_columns.html", context)
