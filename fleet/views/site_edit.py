"""The drawing of one garden: its page, its data, its save, and what the history can put back."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.selectors.company.company import company_day
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.selectors.site.draw_form import assumed_values, draw_forms, page_units
from fleet.selectors.site.history import change_told
from sites.importing.drawing.drawing import as_json, site_drawing
from sites.importing.drawing.edits import Edit, EditProblem, NotEdits, parse_edits
from sites.services.exchange_stations import CannotExchange
from sites.services.restore import NothingToRestore, restore_changes
from sites.services.site_edit import EditConflict, EditRefused, save_site_edits

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.models import User
    from sites.models import Site

LONGEST_ID = 18
LONGEST_VERSION = 40
MOST_ENTRIES = 500


@require_safe
def draw(request: HttpRequest, code: str) -> HttpResponse:
    """Show the drawing of a garden with its forms."""
    garden = garden_of(request, code)
    is_us = cast("User", request.user).units == "us"
    config = {
        "drawing": as_json(site_drawing(site=garden)),
        "forms": draw_forms(is_us=is_us),
        "assumed": assumed_values(),
        "units": page_units(is_us=is_us) | {"isUs": is_us},
        "ground": reverse("fleet:map-ground"),
        "save": reverse("fleet:site-draw-save", args=[garden.code]),
        "token": get_token(request),
        "code": garden.code,
        "by": request.user.get_username(),
        "pick": request.GET.get("pick", "")[:40],
        "place": [garden.longitude, garden.latitude],
    }
    return render(request, "fleet/site_edit/draw.html", {"site": garden, "config": config})


@require_POST
def save(request: HttpRequest, code: str) -> JsonResponse:
    """Save the edits of one page: 200 saved, 400 unreadable, 409 changed by another, 422 refused."""
    garden = garden_of(request, code)
    try:
        version, edits, problems = _read(request.body)
    except (NotEdits, ValueError, RecursionError) as error:
        words = str(error) if isinstance(error, NotEdits) else "JSON"
        return JsonResponse({"error": f"The request could not be read: expected {words}."}, status=400)
    if problems:
        return _refused(problems)
    now = timezone.now()
    try:
        done = save_site_edits(
            site_id=garden.pk,
            edits=edits,
            version=version,
            by=request.user.get_username(),
            at=now,
            today=company_day(now=now),
        )
    except EditConflict as conflict:
        since = [change_told(change) for change in conflict.since]
        return JsonResponse({"drawing": as_json(conflict.drawing), "since": since}, status=409)
    except EditRefused as refused:
        return _refused(refused.problems)
    return JsonResponse(
        {
            "drawing": as_json(done.drawing),
            "ids": dict(done.ids),
            "changes": done.changes,
            "warnings": _told(done.warnings),
        }
    )


@require_POST
def restore(request: HttpRequest, code: str) -> HttpResponse:
    """Put back what an entry of the history tells of."""
    garden = garden_of(request, code)
    numbers = request.POST.get("entries", "").split(",")[:MOST_ENTRIES]
    wanted = [int(one) for one in numbers if one.isascii() and one.isdigit() and len(one) <= LONGEST_ID]
    now = timezone.now()
    try:
        done = restore_changes(
            change_ids=wanted,
            by=request.user.get_username(),
            at=now,
            today=company_day(now=now),
            site_id=garden.pk,
        )
    except EditRefused as refused:
        reasons = "; ".join(f"{one.field or 'it'}: {one.reason}" for one in refused.problems[:5])
        messages.error(request, f"This cannot be put back as the book stands now. {reasons}.")
    except (NothingToRestore, CannotExchange) as error:
        messages.info(request, str(error))
    else:
        plural = "" if done.changes == 1 else "s"
        messages.success(
            request,
            f"Put back: {done.changes} thing{plural}. This is an entry of its own and can be taken back.",
        )
    return redirect(f"{reverse('fleet:site', args=[garden.code])}#hs")


def garden_of(request: HttpRequest, code: str) -> Site:
    """The site, or the page that says it is not there."""
    try:
        return site_for(user=cast("User", request.user), code=code, today=company_day(now=timezone.now()))
    except SiteNotOpen as problem:
        raise Http404 from problem


def _read(body: bytes) -> tuple[str, list[Edit], list[EditProblem]]:
    """Version and edits of a request."""
    told = json.loads(body)
    if not isinstance(told, dict) or set(told) != {"version", "edits"}:
        raise NotEdits("an object with version and edits")
    version = told["version"]
    if not isinstance(version, str) or len(version) > LONGEST_VERSION:
        raise NotEdits("the version that was loaded")
    edits, problems = parse_edits(told["edits"])
    return version, edits, problems


def _refused(problems: Iterable[EditProblem]) -> JsonResponse:
    """The problems, each with thing, field and reason."""
    return JsonResponse({"problems": _told(problems)}, status=422)


def _told(problems: Iterable[EditProblem]) -> list[dict[str, Any]]:
    """Problems as the page's script reads them."""
    return [{"id": one.id, "field": one.field, "reason": one.reason} for one in problems]
