"""What the map's script fetches: the ground, the sites with their states, zones of a window."""

from __future__ import annotations

import math
from hashlib import blake2s

from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest, JsonResponse
from django.http.response import HttpResponseBase
from django.utils.cache import get_conditional_response
from django.views.decorators.http import condition, require_GET

from fleet.selectors.site.map import ground_text, marks_stamp, site_marks, yards, zones_in_box
from fleet.selectors.watch.page import codes_asked
from fleet.views.asked import asking_user
from fleet.views.watch import watch_asked

WIDEST_BOX_DEG = 0.2


def _stamp(request: HttpRequest) -> str | None:
    """Mark of what the sites' answer says; None for a list's own part of it, which is made each time."""
    return None if request.GET.get("of") else f'"{marks_stamp()}"'


@require_GET
def ground(request: HttpRequest) -> HttpResponseBase:
    """Return the company's quiet layers by name; who has them already is told so."""
    text = ground_text().encode()
    answer = HttpResponse(text, content_type="application/json")
    answer["Cache-Control"] = "private, max-age=3600"
    stamp = f'"{blake2s(text, digest_size=12).hexdigest()}"'
    answer["ETag"] = stamp
    return get_conditional_response(request, etag=stamp, response=answer) or answer


@require_GET
@condition(etag_func=_stamp)
def sites(request: HttpRequest) -> HttpResponseBase:
    """Return sites as [code, longitude, latitude, shape, name], and the yards; all, or those of a list.

    `?of=watch` with the list's own `show`, `cause` and `q` leaves the gardens that the list shows. Who asks
    again while nothing has changed is told so, without the sites being read.
    """
    marks = site_marks()
    if request.GET.get("of") == "watch":
        codes = codes_asked(user=asking_user(request), asked=watch_asked(request.GET))
        marks = [mark for mark in marks if mark.code in codes]
    answer = JsonResponse(
        {
            "sites": [[m.code, round(m.longitude, 6), round(m.latitude, 6), m.shape, m.name] for m in marks],
            "depots": [[yard.longitude, yard.latitude, ""] for yard in yards()],
        }
    )
    answer["Cache-Control"] = "private, no-cache"
    return answer


@require_GET
def zones(request: HttpRequest) -> HttpResponseBase:
    """Return the zones of a window `?box=west,south,east,north` [deg] as GeoJSON."""
    try:
        west, south, east, north = (float(side) for side in request.GET.get("box", "").split(","))
    except ValueError:
        return HttpResponseBadRequest("box: expected west,south,east,north in degrees")
    if not all(map(math.isfinite, (west, south, east, north))) or not (
        0 < east - west <= WIDEST_BOX_DEG and 0 < north - south <= WIDEST_BOX_DEG
    ):
        return HttpResponseBadRequest(f"box: expected a window of at most {WIDEST_BOX_DEG} degrees")
    features = zones_in_box(west=west, south=south, east=east, north=north)
    return JsonResponse({"type": "FeatureCollection", "features": features})
