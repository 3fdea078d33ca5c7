"""The columns of a file that somebody brings: what they mean, settled once and remembered."""

from __future__ import annotations

from dataclasses import replace

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from fleet.services.bring_ask import ask_look
from fleet.services.file_seen import FileSeen, kept_seen
from fleet.services.uploads import (
    Upload,
    forget_outcome,
    keep_upload,
    remember_layout,
    remembered_layout,
    upload_folder,
)
from fleet.tasks import start_run
from fleet.views.bring_parts import asked_moment, asked_upload, is_small
from sites.importing.book_layout import BY_COLUMN, BookLayout, LayerLayout, columns_of
from sites.importing.column_guess import guessed_layout
from sites.importing.kinds import KINDS as BOOK_KINDS


@require_POST
def bring_columns(request: HttpRequest, key: str) -> HttpResponse:
    """Settle what the layers and columns of a file are, and remember it."""
    upload, folder, moment = asked_upload(request, key), upload_folder(), asked_moment(request)
    seen = kept_seen(folder=folder, upload=upload)
    if seen is None:
        return redirect("fleet:bring-file", key=key)
    layers: dict[str, LayerLayout] = {}
    for at, layer in enumerate(seen.layers):
        kind = request.POST.get(f"kind-{at}", "")
        meant = {
            column: ours
            for n, column in enumerate(layer.names)
            if (ours := request.POST.get(f"column-{at}-{n}", "")) in columns_of(kind)
        }
        if kind in (*BOOK_KINDS, BY_COLUMN):
            layers[layer.name] = LayerLayout(kind, meant)
            remember_layout(folder=folder, columns=layer.names, layout=layers[layer.name])
    if not layers:
        messages.error(request, "No layer has a kind yet. Say for at least one what it holds.")
        return redirect(f"{request.path.removesuffix('columns/')}?columns=1")
    layout = BookLayout(layers, request.POST.get("crs", "")[:80].strip())
    upload = replace(upload, layout=layout, accepted={})
    keep_upload(folder=folder, upload=upload)
    forget_outcome(folder=folder, upload=upload)
    run_id = ask_look(folder=folder, upload=upload, day=moment.today, now=moment.now)
    start_run(run_id=run_id, at_once=is_small(upload))
    return redirect("fleet:bring-file", key=key)


def columns_page(request: HttpRequest, upload: Upload, seen: FileSeen) -> HttpResponse:
    """The mapping of layers and columns, with guesses and samples."""
    layers = []
    for at, layer in enumerate(seen.layers):
        before = upload.layout.layers.get(layer.name) if upload.layout else None
        old = remembered_layout(folder=upload_folder(), columns=layer.names)
        guess = before or old or guessed_layout(layer.name, layer.names, frozenset(layer.shapes))
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
    context = {
        "upload": upload, "form": seen.form, "layers": layers, "kinds": list(BOOK_KINDS),
        "ours": columns_of(BY_COLUMN), "problems": seen.problems,
    }  # fmt: skip
    return render(request, "fleet/bring_columns.html", context)
