"""Parts: what lies where, what is below its minimum, moving it, and the catalogue."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.access import may_see
from fleet.exports.kinds import as_csv
from fleet.exports.stock import COLUMNS, rows
from fleet.models import Part, StockPlace, VisitKind
from fleet.selectors.company.stock import stock_deeds, stock_table
from fleet.services.company.parts import add_depot, add_usual_parts, save_part, set_minima
from fleet.services.company.stock import (
    BadStock,
    CannotUndoStock,
    PartsMoved,
    add_places,
    count_parts,
    move_parts,
    undo_stock,
)
from fleet.views.asked import asked_number, asking_user
from fleet.views.stock_forms import counts_of, least_of, part_of


@require_safe
def stock(request: HttpRequest) -> HttpResponse:
    """Show every place's stock, the list of what is short, and the newest movements: `?page=`."""
    page, deeds = stock_deeds(number=asked_number(request.GET.get("page"), 1))
    table = stock_table()
    facts = {
        "table": table,
        "short": table.short,
        "page": page,
        "deeds": deeds,
        "query": "",
        "may_write": may_see(asking_user(request).role, "fleet:stock-move"),
    }
    return render(request, "fleet/stock/list.html", facts)


@require_safe
def stock_csv(request: HttpRequest) -> HttpResponse:
    """Stock and minima as a file that Imports takes back."""
    del request
    response = HttpResponse(as_csv(COLUMNS, rows()), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="stock.csv"'
    return response


@require_POST
def stock_start(request: HttpRequest) -> HttpResponse:
    """Begin with the usual parts, or with a further depot."""
    by, now = request.user.get_username(), timezone.now()
    if request.POST.get("do") == "depot":
        try:
            made = add_depot(
                code=request.POST.get("code", "").replace("\x00", ""),
                name=request.POST.get("name", "").replace("\x00", ""),
                by=by,
                now=now,
            )
            messages.success(request, f"{made.name} is in the list.")
        except BadStock as error:
            messages.error(request, f"Nothing was changed. {error}.")
    elif request.POST.get("do") == "places":
        messages.success(request, f"{add_places()} places were added.")
    else:
        messages.success(request, f"{add_usual_parts(by=by, now=now)} parts are in the catalogue.")
    return redirect("fleet:stock")


@require_safe
def stock_place(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one place with a form to load, count and set minima."""
    return _place(request, get_object_or_404(StockPlace, pk=pk))


@require_POST
def stock_move(request: HttpRequest, pk: int) -> HttpResponse:
    """Do one thing to a place's stock: bring in, take away, count, set minima."""
    place = get_object_or_404(StockPlace, pk=pk)
    try:
        words = _DEEDS.get(request.POST.get("do", ""), _bring)(request, place)
    except BadStock as error:
        return _place(request, place, error=str(error))
    messages.success(request, words)
    return redirect("fleet:stock-place", pk=pk)


@require_POST
def stock_undo(request: HttpRequest) -> HttpResponse:
    """Take a movement back."""
    try:
        done = undo_stock(
            deed=request.POST.get("deed", "")[:120], by=request.user.get_username(), now=timezone.now()
        )
        messages.success(request, done.words)
    except CannotUndoStock as error:
        messages.error(request, str(error))
    return redirect("fleet:stock")


@require_http_methods(["GET", "HEAD", "POST"])
def part_new(request: HttpRequest) -> HttpResponse:
    """Enter a part into the catalogue."""
    return _part(request, None)


@require_http_methods(["GET", "HEAD", "POST"])
def part(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a part of the catalogue."""
    return _part(request, get_object_or_404(Part, pk=pk))


def _part(request: HttpRequest, row: Part | None) -> HttpResponse:
    """Show the form of a part, and keep what it says."""
    error = ""
    if request.method == "POST":
        try:
            saved = save_part(
                part_id=row.pk if row else None,
                part=part_of(request.POST),
                by=request.user.get_username(),
                now=timezone.now(),
            )
        except BadStock as problem:
            error = str(problem)
        else:
            messages.success(request, "The part is kept." if saved.changed else "Nothing was changed.")
            return redirect("fleet:stock")
    needed = {one.kind: one.count for one in row.for_kinds.all()} if row else {}
    typed = request.POST if error else None
    kinds = [
        (kind, word, typed.get(f"kind-{kind}", "") if typed is not None else needed.get(kind, ""))
        for kind, word in VisitKind.choices
    ]
    facts = {"part": row, "kinds": kinds, "error": error, "typed": typed}
    return render(request, "fleet/stock/part.html", facts, status=422 if error else 200)


def _place(request: HttpRequest, place: StockPlace, error: str = "") -> HttpResponse:
    """The page of a place."""
    page, deeds = stock_deeds(number=asked_number(request.GET.get("page"), 1), place_id=place.pk)
    typed = request.POST if error else {}
    held = [(row.held[0], typed.get(f"n-{row.part.code}", "")) for row in stock_table(place_id=place.pk).rows]
    others = StockPlace.objects.exclude(pk=place.pk)
    facts = {
        "place": place,
        "held": held,
        "others": sorted(others, key=lambda one: (one.is_truck, one.name)),
        "error": error,
        "typed": typed,
        "page": page,
        "deeds": deeds,
        "query": "",
        "may_write": may_see(asking_user(request).role, "fleet:stock-move"),
    }
    return render(request, "fleet/stock/place.html", facts, status=422 if error else 200)


def _bring(request: HttpRequest, place: StockPlace) -> str:
    """Parts come from a place, or are bought in."""
    source = asked_number(request.POST.get("other")) or None
    return _told(_move(request, source, place.pk), "Brought in")


def _take(request: HttpRequest, place: StockPlace) -> str:
    """Parts leave for another place."""
    target = asked_number(request.POST.get("other"))
    if not target:
        raise BadStock("to: expected a depot or truck; what is lost or broken is taken off by counting")
    return _told(_move(request, place.pk, target), "Moved")


def _move(request: HttpRequest, source: int | None, target: int) -> PartsMoved:
    """Move what the form says."""
    return move_parts(
        source_id=source,
        target_id=target,
        counts=counts_of(request.POST),
        by=request.user.get_username(),
        now=timezone.now(),
        note=request.POST.get("note", "").replace("\x00", ""),
    )


def _count(request: HttpRequest, place: StockPlace) -> str:
    """There are so many now."""
    done = count_parts(
        place_id=place.pk,
        counts=counts_of(request.POST, with_nothing=True),
        by=request.user.get_username(),
        now=timezone.now(),
        note=request.POST.get("note", "").replace("\x00", ""),
    )
    return "The book was right." if not done.lines else _told(done, "Counted; the book is off by")


def _least(request: HttpRequest, place: StockPlace) -> str:
    """It should hold so many."""
    changed = set_minima(
        place_id=place.pk,
        least=least_of(request.POST),
        by=request.user.get_username(),
        now=timezone.now(),
    )
    return f"{changed} minima are changed."


def _told(done: PartsMoved, verb: str) -> str:
    """What was done, in words."""
    return f"{verb}: {done.words}."


_DEEDS: dict[str, Callable[[HttpRequest, StockPlace], str]] = {
    "bring": _bring,
    "take": _take,
    "count": _count,
    "least": _least,
}
