"""How long a session lasts: noted at every sign-in, held against at every page."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Final

from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve
from django.utils import timezone

from fleet.models import User

BEGAN: Final = "began"
SEEN: Final = "seen"
AGENT: Final = "agent"
# What a page asks by itself keeps nobody signed in.
BY_ITSELF: Final = frozenset({
    "fleet:week-live", "fleet:week-progress", "fleet:bring-progress", "fleet:phone-me", "fleet:phone-pack",
})  # fmt: skip
# A session is written at most so often for the sake of its clock [s].
_STEP_S: Final = 300.0


def note_sign_in(sender: object, request: HttpRequest, **kwargs: object) -> None:
    """Keep when a session began and on what; called at whichever door somebody signs in.

    Who signs in anew while signed in gets a new key too.
    """
    del sender, kwargs
    request.session.cycle_key()
    now = timezone.now().timestamp()
    request.session[BEGAN] = request.session[SEEN] = now
    request.session[AGENT] = request.headers.get("User-Agent", "")[:200]


def is_over(*, role: str, now_s: float, began_s: float, seen_s: float) -> bool:
    """Whether a session has lasted long enough.

    A technician's phone lies in a pocket, out of the network for hours, and locks itself: it has the longest
    session and no idle time. Everybody else signs in each day, and after an idle half of one.
    """
    if role == User.Role.TECHNICIAN:
        return now_s - began_s > settings.SESSION_COOKIE_AGE
    idle_s = timedelta(minutes=settings.IDLE_MINUTES).total_seconds()
    longest_s = timedelta(hours=settings.SESSION_HOURS).total_seconds()
    return now_s - began_s > longest_s or now_s - seen_s > idle_s


class SessionLimitsMiddleware:
    """Ends a session that is over; whoever asks is a visitor from then on, and led to sign in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The response of the next layer."""
        user = request.user
        if isinstance(user, User):
            now_s = timezone.now().timestamp()
            began_s = request.session.get(BEGAN, now_s)
            seen_s = request.session.get(SEEN, began_s)
            if is_over(role=user.role, now_s=now_s, began_s=began_s, seen_s=seen_s):
                logout(request)
            elif (now_s - seen_s > _STEP_S or BEGAN not in request.session) and not _is_by_itself(request):
                request.session[BEGAN], request.session[SEEN] = began_s, now_s
        return self.get_response(request)


def _is_by_itself(request: HttpRequest) -> bool:
    """Whether the page asked, not the person."""
    try:
        return resolve(request.path_info).view_name in BY_ITSELF
    except Resolver404:
        return True
