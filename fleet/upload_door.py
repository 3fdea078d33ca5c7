"""The door for bodies of requests: what is too large is refused by its declared length, unread."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.services.bring.upload_checks import LIMIT_BYTES

_FORM_BYTES: Final = 100_000
BRING: Final = "/bring/"
MOST_BODY_BYTES: Final = LIMIT_BYTES + _FORM_BYTES
OTHERS_BYTES: Final = 120_000_000  # a finding with all its photos
NOBODYS_BYTES: Final = 1_000_000


class UploadDoorMiddleware:
    """Answers 413 to a body that is too large for its address and sender, before a byte of it is kept."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The response of the next layer, or the refusal."""
        # Devices have a door of their own, with smaller limits and problems as JSON.
        if request.method in ("GET", "HEAD", "OPTIONS") or request.path.startswith("/api/"):
            return self.get_response(request)
        limit = _limit(request)
        told = request.META.get("CONTENT_LENGTH") or "0"
        if told.isascii() and told.isdigit() and int(told) <= limit:
            return self.get_response(request)
        return render(request, "413.html", {"most_mb": limit // 1_000_000}, status=413)


def _limit(request: HttpRequest) -> int:
    """Most bytes that the sender may send to this address."""
    if not request.user.is_authenticated:
        return NOBODYS_BYTES
    return MOST_BODY_BYTES if request.path == BRING else OTHERS_BYTES
