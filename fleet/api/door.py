"""The door of the API: what is refused before a body is read, and the document that describes the rest."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, Final

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import URLPattern, path
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from fleet.api.calls import api
from fleet.api.problems import CONTENT_TYPE, ProblemMet

MOST_BYTES: Final = 1_000_000
View = Callable[..., HttpResponse]

app_name = "api"


def guarded(view: View) -> View:
    """A view that devices call: no session, no form token; large or foreign bodies never reach it."""

    @csrf_exempt
    @login_not_required
    @functools.wraps(view)
    def door(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        early = _refused_early(request)
        if early is not None:
            return early.response()
        answer = view(request, *args, **kwargs)
        if answer.status_code == 405:
            allowed = {"Allow": answer.get("Allow", "POST")}
            return ProblemMet(405, f"{request.method} is not served here.", headers=allowed).response()
        return answer

    return door


def _refused_early(request: HttpRequest) -> ProblemMet | None:
    """The problem of a call that is not worth reading."""
    if request.method != "POST":
        return None
    length = request.META.get("CONTENT_LENGTH") or "0"
    if not length.isascii() or not length.isdigit() or int(length) > MOST_BYTES:
        return ProblemMet(413, f"At most {MOST_BYTES} bytes; send several batches.")
    if request.content_type != "application/json":
        return ProblemMet(415, "Send the body as application/json.")
    if len(request.body) > MOST_BYTES:
        return ProblemMet(413, f"At most {MOST_BYTES} bytes; send several batches.")
    return None


@require_safe
def document(request: HttpRequest) -> JsonResponse:
    """Return the OpenAPI document; problems under their own media type."""
    del request
    return JsonResponse(described())


def described() -> dict[str, Any]:
    """The OpenAPI document."""
    found: dict[str, Any] = api.get_openapi_schema(path_prefix="/api/v1/")
    for calls in found["paths"].values():
        for call in calls.values():
            for status, answer in call["responses"].items():
                if int(status) >= 400 and "application/json" in answer.get("content", {}):
                    answer["content"] = {CONTENT_TYPE: answer["content"]["application/json"]}
                if int(status) == 429:
                    answer["headers"] = {"Retry-After": {"schema": {"type": "integer"}}}
    return found


def nothing(request: HttpRequest, rest: str) -> HttpResponse:
    """Say that there is nothing at an address."""
    del request, rest
    return ProblemMet(404, "The document at /api/v1/openapi.json lists what there is.").response()


def _calls() -> list[URLPattern]:
    """Ninja's addresses behind the door."""
    return [
        path(f"v1/{one.pattern}", guarded(one.callback), name=one.name)
        for one in api.urls[0]
        if isinstance(one, URLPattern) and one.name not in ("api-root", None)
    ]


urlpatterns = [
    *_calls(),
    path("v1/openapi.json", document, name="openapi"),
    path("<path:rest>", csrf_exempt(login_not_required(nothing)), name="nothing"),
]
