"""Bring your sites: a file comes in, is laid out, looked at with its repairs, then saved or thrown away."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Final

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from fleet.charts.bring_map import bring_map_svg, marks_of
from fleet.models import User
from fleet.selectors.company import company_day, the_company
from fleet.services.bring_file import (
    BOOK,
    KINDS,
    Look,
    Moment,
    accepted_of,
    kind_of_file,
    save_file,
)
from fleet.services.kept_looks import kept_look
from fleet.services.uploads import (
    KEPT_FOR,
    Upload,
    UploadNotTaken,
    UploadNotThere,
    data_path,
    find_upload,
    keep_upload,
    remember_layout,
    remembered_layout,
    take_upload,
    throw_old_uploads,
    throw_upload,
    uploads_of,
)
from fleet.views.asked import asking_user
from sites.importing.book_layout import BY_COLUMN, BookLayout, LayerLayout, columns_of, layout_by_names
from sites.importing.book_offers import WORDS, told
from sites.importing.column_guess import guessed_layout
from sites.importing.kinds import KINDS as BOOK_KINDS
from sites.importing.raw_book import RawBook, read_raw_book

ROWS_A_PAGE: Final = 50
SAMPLES: Final = 3
SNIFFED: Final = 65_536


@require_http_methods(["GET", "HEAD", "POST"])
def bring(request: HttpRequest) -> HttpResponse:
    """Show what may be brought and what waits; take a file."""
    user, now = asking_user(request), timezone.now()
    throw_old_uploads(folder=_folder(), now=now)
    if request.method == "POST":
        file = request.FILES.get("file")
        if file is None:
            messages.error(request, "No file was chosen. Choose one, then bring it.")
            return redirect("fleet:bring")
        try:
            upload = take_upload(
                folder=_folder(), name=file.name or "", chunks=file.chunks(), owner=user.username, now=now
            )
        except UploadNotTaken as error:
            messages.error(request, str(error))
            return redirect("fleet:bring")
        with data_path(_folder(), upload).open("rb") as stream:
            upload = replace(upload, kind=kind_of_file(stream.read(SNIFFED)))
        keep_upload(folder=_folder(), upload=upload)
        return redirect("fleet:bring-file", key=upload.key)
    waiting = uploads_of(folder=_folder(), user=user.username, sees_all=_sees_all(user))
    context = {"waiting": waiting, "kinds": [one.word for one in KINDS.values()], "days": KEPT_FOR.days}
    return render(request, "fleet/bring.html", context)


@require_GET
def bring_file(request: HttpRequest, key: str) -> HttpResponse:
    """Show a file: its columns where they are not settled, else what it would do."""
    upload = _upload(request, key)
    is_settled = upload.layout is not None or upload.is_plain
    if upload.kind == BOOK and (not is_settled or "columns" in request.GET):
        raw = read_raw_book(data_path(_folder(), upload), name=upload.name)
        if raw.layers and ("columns" in request.GET or not _is_ours(raw)):
            return _columns_page(request, upload, raw)
        upload = replace(upload, is_plain=upload.layout is None)
        keep_upload(folder=_folder(), upload=upload)
    look = kept_look(folder=_folder(), upload=upload, moment=_moment(request))
    return _look_page(request, upload, look)


@require_POST
def bring_columns(request: HttpRequest, key: str) -> HttpResponse:
    """Settle what the layers and columns of a file are, and remember it."""
    upload = _upload(request, key)
    raw = read_raw_book(data_path(_folder(), upload), name=upload.name)
    layers: dict[str, LayerLayout] = {}
    for at, layer in enumerate(raw.layers):
        kind = request.POST.get(f"kind-{at}", "")
        meant = {
            column: ours
            for n, column in enumerate(layer.columns)
            if (ours := request.POST.get(f"column-{at}-{n}", "")) in columns_of(kind)
        }
        if kind in (*BOOK_KINDS, BY_COLUMN):
            layers[layer.name] = LayerLayout(kind, meant)
            remember_layout(folder=_folder(), columns=layer.columns, layout=layers[layer.name])
    if not layers:
        messages.error(request, "No layer has a kind yet. Say for at least one what it holds.")
        return redirect(f"{request.path.removesuffix('columns/')}?columns=1")
    layout = BookLayout(layers, request.POST.get("crs", "")[:80].strip())
    keep_upload(folder=_folder(), upload=replace(upload, layout=layout, accepted={}))
    return redirect("fleet:bring-file", key=key)


@require_POST
def bring_repairs(request: HttpRequest, key: str) -> HttpResponse:
    """Accept repairs: all, those of one fault, or one; or take the word back."""
    upload = _upload(request, key)
    look = kept_look(folder=_folder(), upload=upload, moment=_moment(request))
    which, back = request.POST.get("which", ""), request.POST.get("do") == "back"
    meant = {one.key for one in look.repairs if which in ("all", f"fault:{one.fault}", one.key)}
    kept = set(upload.accepted) - meant if back else set(upload.accepted) | meant
    keep_upload(folder=_folder(), upload=replace(upload, accepted=accepted_of(look.repairs, kept)))
    return redirect("fleet:bring-file", key=key)


@require_POST
def bring_save(request: HttpRequest, key: str) -> HttpResponse:
    """Write the file into the book, or say why nothing was written."""
    upload = _upload(request, key)
    keep_good = request.POST.get("good") == "yes"
    look = save_file(
        path=data_path(_folder(), upload), upload=upload, moment=_moment(request), keep_good=keep_good
    )
    if not look.report.written:
        return _look_page(request, upload, look, is_refused=True)
    throw_upload(folder=_folder(), upload=upload)
    sites = sorted({item.site for item in look.drawn if not item.is_refused})
    made = Counter(str(one.fault) for one in look.repairs if one.is_made)
    context = {"upload": upload, "report": look.report, "sites": sites[:60], "more": len(sites) - 60}
    context |= {"made": sorted(made.items()), "problems": look.report.problems[:200]}
    return render(request, "fleet/bring_done.html", context)


@require_POST
def bring_throw(request: HttpRequest, key: str) -> HttpResponse:
    """Forget a file; nothing of it was written."""
    upload = _upload(request, key)
    throw_upload(folder=_folder(), upload=upload)
    messages.info(request, f"{upload.name} is thrown away. Nothing of it was written.")
    return redirect("fleet:bring")


def _look_page(request: HttpRequest, upload: Upload, look: Look, *, is_refused: bool = False) -> HttpResponse:
    """The preview."""
    mended, missed = marks_of(look.repairs, look.report.problems, look.places)
    numbered = [(one, missed.get((one.file, one.row))) for one in look.report.problems]
    problems = Paginator(numbered, ROWS_A_PAGE).get_page(request.GET.get("page"))
    repairs = Paginator(look.repairs, ROWS_A_PAGE).get_page(request.GET.get("rpage"))
    groups = Counter(one.fault for one in look.repairs)
    yes = Counter(one.fault for one in look.repairs if one.key in upload.accepted)
    needed = sum(one.is_needed and one.key not in upload.accepted for one in look.repairs)
    repaired = set(told(list(look.repairs)))  # the table of repairs says it better
    marks = [mended.get(one.key) for one in repairs] + [mark for _, mark in problems]
    shown = {mark.number for mark in marks if mark is not None}
    context = {
        "upload": upload,
        "report": look.report,
        "lines": [line for line in look.report.warnings if line not in repaired],
        "refused": len({(one.file, one.row) for one in look.report.problems}),
        "problems": problems,
        "repairs": [(one, one.key in upload.accepted, mended.get(one.key)) for one in repairs],
        "repairs_page": repairs,
        "groups": [(f, WORDS[f], n, yes[f]) for f, n in sorted(groups.items())],
        "open_needed": needed,
        "is_refused": is_refused,
        "is_book": upload.kind == BOOK,
        "word": KINDS[upload.kind].word if upload.kind in KINDS else "site book",
        "paper_map": bring_map_svg(look.drawn, [*mended.values(), *missed.values()], shown),
    }
    return render(request, "fleet/bring_look.html", context)


def _columns_page(request: HttpRequest, upload: Upload, raw: RawBook) -> HttpResponse:
    """The mapping of layers and columns, with guesses and samples."""
    layers = []
    for at, layer in enumerate(raw.layers):
        shapes = frozenset(shape.geom_type for shape in layer.shapes if shape is not None)
        before = upload.layout.layers.get(layer.name) if upload.layout else None
        old = remembered_layout(folder=_folder(), columns=layer.columns)
        guess = before or old or guessed_layout(layer.name, layer.columns, shapes)
        columns = [
            (n, name, _samples(layer.cells, name), guess.columns.get(name, ""))
            for n, name in enumerate(layer.columns)
        ]
        layers.append(
            {
                "at": at, "name": layer.name, "rows": len(layer.numbers), "kind": guess.kind,
                "columns": columns, "shapes": sorted(shapes), "is_remembered": old is not None,
                "lacks_crs": layer.crs is None and raw.form in ("shapefile", "GeoPackage") and bool(shapes),
            }
        )  # fmt: skip
    context = {
        "upload": upload, "form": raw.form, "layers": layers, "kinds": list(BOOK_KINDS),
        "ours": columns_of(BY_COLUMN), "problems": raw.problems[:20],
    }  # fmt: skip
    return render(request, "fleet/bring_columns.html", context)


def _samples(cells: list[dict[str, str]], name: str) -> list[str]:
    """The first different values of a column."""
    found: dict[str, None] = {}
    for row in cells[:500]:
        if row.get(name):
            found.setdefault(row[name][:40])
        if len(found) == SAMPLES:
            break
    return list(found)


def _is_ours(raw: RawBook) -> bool:
    """Whether every layer and column bears the book's own name already."""
    for layer in raw.layers:
        plan = layout_by_names(layer.name, layer.columns)
        kind = BY_COLUMN if raw.form in ("GeoJSON", "CSV") else plan.kind
        names = {ours for theirs, ours in plan.columns.items() if theirs not in layer.made_up}
        if not kind or (raw.form == "GeoJSON" and "kind" not in names) or not names <= set(columns_of(kind)):
            return False
    return bool(raw.layers)


def _upload(request: HttpRequest, key: str) -> Upload:
    """The upload of the address, or the page that says it is not there."""
    user = asking_user(request)
    try:
        return find_upload(folder=_folder(), key=key, user=user.username, sees_all=_sees_all(user))
    except UploadNotThere as error:
        raise Http404 from error


def _moment(request: HttpRequest) -> Moment:
    """Who and when."""
    now, company = timezone.now(), the_company()
    zone = company.timezone if company else "UTC"
    return Moment(asking_user(request).username, now, company_day(now=now), zone)


def _folder() -> Path:
    """Where the files wait."""
    return Path(settings.DATA_DIR) / "uploads"


def _sees_all(user: User) -> bool:
    """Whether other people's files are open too."""
    return user.role == User.Role.ADMINISTRATOR
