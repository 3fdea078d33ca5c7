"""Devices that report by themselves: their tokens made and revoked, and how a device calls."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from fleet.models import DeviceToken
from fleet.selectors.company.devices import device_tokens
from fleet.services.company.device_tokens import (
    CALLS_A_MINUTE,
    MOST_ENTRIES,
    NewToken,
    TokenNotPossible,
    create_device_token,
    revoke_device_token,
)

LONGEST_SITES = 4_000


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def devices(request: HttpRequest) -> HttpResponse:
    """List the tokens; POST makes one and tells it this once."""
    made: NewToken | None = None
    error = ""
    if request.method == "POST":
        codes = request.POST.get("sites", "")[:LONGEST_SITES].replace(",", " ").split()
        try:
            made = create_device_token(
                name=request.POST.get("name", ""),
                kinds=request.POST.getlist("kinds"),
                site_codes=codes,
                by=request.user.get_username(),
                at=timezone.now(),
            )
        except TokenNotPossible as problem:
            error = str(problem)
    facts = {
        "tokens": device_tokens(),
        "made": made,
        "error": error,
        "kinds": DeviceToken.Kind.choices,
        "asked": request.POST if error else {},
        "asked_kinds": request.POST.getlist("kinds") if error else [],
        "calls_a_minute": CALLS_A_MINUTE,
        "most_entries": MOST_ENTRIES,
    }
    return render(request, "fleet/devices.html", facts, status=422 if error else 200)


@require_POST
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Revoke a token for good."""
    if not DeviceToken.objects.filter(pk=pk).exists():
        raise Http404
    if revoke_device_token(token_id=pk, by=request.user.get_username(), at=timezone.now()):
        messages.success(request, "The token is revoked: its device is turned away from now on.")
    else:
        messages.error(request, "This token was revoked before.")
    return redirect("fleet:devices")
