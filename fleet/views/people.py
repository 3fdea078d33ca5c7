"""Accounts of the company's people, for the administrator."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from fleet.models import User
from fleet.selectors.company.accounts import accounts
from fleet.services.company.accounts import (
    AccountNotPossible,
    Invitation,
    change_role,
    end_sessions,
    invite_person,
    reset_access,
    set_account_active,
)
from fleet.services.company.second_factor import drop_second_factor


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def people(request: HttpRequest) -> HttpResponse:
    """List the accounts; POST makes one and shows the link to its password this once."""
    error = ""
    if request.method == "POST":
        given = {name: request.POST.get(name, "")[:200] for name in ("username", "first_name", "last_name")}
        given = {name: text.replace("\x00", "") for name, text in given.items()}
        try:
            made = invite_person(
                **given,
                role=request.POST.get("role", ""),
                by=request.user.get_username(),
                at=timezone.now(),
            )
            return _page(request, made=made)
        except AccountNotPossible as problem:
            error = str(problem)
    return _page(request, error=error)


@never_cache
@require_POST
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """Do one thing to an account: role, shut, open, sessions, password, second factor."""
    if not User.objects.filter(pk=pk).exists():
        raise Http404
    by, at, do = request.user.get_username(), timezone.now(), request.POST.get("do", "")
    try:
        if do == "reset":
            return _page(request, made=reset_access(user_id=pk, by=by, at=at))
        messages.success(request, _done(request, pk, do, by))
    except AccountNotPossible as problem:
        messages.error(request, f"Nothing was changed: {problem}.")
    return redirect("fleet:people")


def _done(request: HttpRequest, pk: int, do: str, by: str) -> str:
    """Do it; a sentence of what was done."""
    at = timezone.now()
    if do == "role":
        changed = change_role(user_id=pk, role=request.POST.get("role", ""), by=by, at=at)
        return (
            "The role is changed; sessions have ended, the next sign-in has the new role."
            if changed
            else "The role is as before."
        )
    if do in ("shut", "open"):
        set_account_active(user_id=pk, is_active=do == "open", by=by, at=at)
        return (
            "The account is open again." if do == "open" else "The account is shut; its sessions have ended."
        )
    if do == "sessions":
        end_sessions(user_id=pk, by=by, at=at)
        return "All sessions of this account have ended."
    if do == "factor":
        gone = drop_second_factor(user_id=pk, by=by, at=at)
        return "The second factor is taken away." if gone else "There was no second factor."
    raise AccountNotPossible("Expected one of the buttons of this page")


def _page(request: HttpRequest, *, made: Invitation | None = None, error: str = "") -> HttpResponse:
    """The page, with a new link or what was wrong."""
    link = reverse("invitation", kwargs={"uidb64": made.uid, "token": made.token}) if made else ""
    facts = {
        "accounts": accounts(),
        "roles": User.Role.choices,
        "made": made,
        "link": request.build_absolute_uri(link) if made else "",
        "error": error,
        "asked": request.POST if error else {},
    }
    return render(request, "fleet/account/people.html", facts, status=422 if error else 200)
