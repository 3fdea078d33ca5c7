"""Signing in: the password, then the code where the account has a second factor."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from fleet.models import User
from fleet.services.company.second_factor import ask_code, has_second_factor

WAITS: Final = "waits_for_code"
WAITS_FOR: Final = timedelta(minutes=5)
_BACKEND: Final = "django.contrib.auth.backends.ModelBackend"


class SignIn(LoginView):
    """The password; an account with a second factor is not signed in by it."""

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign in, or go on to the code."""
        user = form.get_user()
        if not has_second_factor(user_id=user.pk):
            return super().form_valid(form)
        self.request.session.cycle_key()
        self.request.session[WAITS] = {
            "user": user.pk,
            "since": timezone.now().isoformat(),
            "seal": user.get_session_auth_hash(),
            "next": self.get_redirect_url(),
        }
        return redirect("login-code")


@login_not_required
@never_cache
@sensitive_post_parameters("code")
@require_http_methods(["GET", "HEAD", "POST"])
def code(request: HttpRequest) -> HttpResponse:
    """Ask for the code of whoever has just given the right password."""
    now = timezone.now()
    user = _who_waits(request, now)
    if user is None:
        request.session.pop(WAITS, None)
        return redirect("login")
    if request.method != "POST":
        return render(request, "registration/code.html")
    answer = ask_code(user_id=user.pk, code=request.POST.get("code", ""), at=now)
    if not answer.fits:
        return render(
            request, "registration/code.html", {"is_wrong": True, "shut_until": answer.shut_until}, status=422
        )
    after = request.session.pop(WAITS)["next"]
    login(request, user, backend=_BACKEND)
    is_safe = url_has_allowed_host_and_scheme(
        after, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return redirect(after if after and is_safe else "fleet:home")


def _who_waits(request: HttpRequest, now: datetime) -> User | None:
    """The account whose password was right a moment ago and has not changed since."""
    waits = request.session.get(WAITS)
    if waits is None or now - datetime.fromisoformat(waits["since"]) > WAITS_FOR:
        return None
    user = User.objects.filter(pk=waits["user"], is_active=True).first()
    if user is None or not constant_time_compare(waits["seal"], user.get_session_auth_hash()):
        return None
    return user if has_second_factor(user_id=user.pk) else None
