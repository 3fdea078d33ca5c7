"""The own account: how numbers, times and colours are read, password, second factor, open sessions."""

from __future__ import annotations

from typing import Any

import segno
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from fleet.models import SecondFactor, User
from fleet.selectors.company.open_sessions import open_sessions
from fleet.services.company.accounts import (
    AccountNotPossible,
    end_chosen_sessions,
    end_sessions,
    set_own_password,
    set_preferences,
)
from fleet.services.company.second_factor import (
    begin_second_factor,
    confirm_second_factor,
    drop_second_factor,
    has_second_factor,
    secret_shown,
)
from fleet.views.asked import asking_user


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def account(request: HttpRequest) -> HttpResponse:
    """Show the own account; POST keeps how things are read."""
    user = asking_user(request)
    if request.method == "POST":
        try:
            set_preferences(
                user_id=user.pk,
                units=request.POST.get("units", ""),
                clock_24h=request.POST.get("clock") != "12",
                theme=request.POST.get("theme", ""),
            )
        except AccountNotPossible as problem:
            messages.error(request, f"Nothing was changed: {problem}.")
        else:
            messages.success(request, "Kept. Every page is shown this way from now on.")
        return redirect("fleet:account")
    facts = {
        "units": User.Units.choices,
        "themes": User.Theme.choices,
        "factor": SecondFactor.objects.filter(user=user, confirmed_at__isnull=False).first(),
        "must_have_factor": user.role in settings.SECOND_FACTOR_ROLES,
        "sessions": open_sessions(user=user, here=request.session.session_key or "", now=timezone.now()),
    }
    return render(request, "fleet/account/account.html", facts)


@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    """Change the own password: every other session ends, this one stays."""
    user = asking_user(request)
    form = PasswordChangeForm(user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        words = form.cleaned_data["new_password1"]
        update_session_auth_hash(
            request, set_own_password(user_id=user.pk, password=words, at=timezone.now())
        )
        messages.success(request, "The password is changed. Sessions on other devices have ended.")
        return redirect("fleet:account")
    return render(
        request, "fleet/account/password.html", {"form": form}, status=422 if form.is_bound else 200
    )


@sensitive_post_parameters("password")
@require_POST
def sessions_out(request: HttpRequest) -> HttpResponse:
    """End the chosen sessions, or all but this one; either asks for the password again."""
    user, now = asking_user(request), timezone.now()
    if not user.check_password(request.POST.get("password", "")):
        messages.error(request, "No session was ended: the password is not the right one.")
    elif request.POST.get("do") == "chosen":
        count = end_chosen_sessions(user_id=user.pk, names=request.POST.getlist("which"), at=now)
        messages.success(request, f"{count} session{'' if count == 1 else 's'} ended.")
    else:
        end_sessions(user_id=user.pk, by=user.get_username(), at=now)
        user.refresh_from_db()
        update_session_auth_hash(request, user)
        messages.success(request, "Sessions on other devices have ended.")
    return redirect("fleet:account")


@never_cache
@sensitive_post_parameters("password", "code")
@require_http_methods(["GET", "HEAD", "POST"])
def second_factor(request: HttpRequest) -> HttpResponse:
    """Set the second factor up, or take it away; both ask for the password again."""
    user, now = asking_user(request), timezone.now()
    error = ""
    if request.method == "POST":
        has = has_second_factor(user_id=user.pk)
        if not user.check_password(request.POST.get("password", "")):
            error = "The password is not the right one"
        elif has and user.role in settings.SECOND_FACTOR_ROLES:
            error = "Your role needs a second factor; an administrator can take it away if the phone is lost"
        elif has:
            drop_second_factor(user_id=user.pk, by=user.get_username(), at=now)
            messages.success(request, "The second factor is taken away: the password alone signs you in.")
            return redirect("fleet:account")
        elif codes := confirm_second_factor(user_id=user.pk, code=request.POST.get("code", ""), at=now):
            return render(request, "fleet/account/recovery_codes.html", {"codes": codes})
        else:
            error = (
                "The code does not fit; codes change every 30 seconds, and the phone's clock must be right"
            )
    facts: dict[str, Any] = {"error": error, "has": has_second_factor(user_id=user.pk)}
    if not facts["has"]:
        shown = secret_shown(factor=begin_second_factor(user_id=user.pk, at=now))
        facts |= {"secret": shown.text, "qr": _drawn(shown.address)}
    return render(request, "fleet/account/second_factor.html", facts, status=422 if error else 200)


def _drawn(address: str) -> str:
    """A QR code as SVG, black on white in every theme; nothing of it leaves this machine."""
    code = segno.make(address, error="m", micro=False)
    drawn: str = code.svg_inline(
        omitsize=True, border=4, dark="#000", light="#fff", svgclass="qr", lineclass=None
    )
    return mark_safe(drawn)  # noqa: S308 (numbers and our own words only: the address is drawn, not written)
