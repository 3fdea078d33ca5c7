"""What every page's frame shows: the company, the places of the role, how old the weather is."""

from __future__ import annotations

from django.http import HttpRequest
from django.utils import timezone

from fleet.selectors.frame import frame_facts


def frame(request: HttpRequest) -> dict[str, object]:
    """Values for the frame of a page; nothing for a visitor who is not signed in."""
    if not getattr(request, "user", None) or not request.user.is_authenticated:
        return {}
    return {"frame": frame_facts(user=request.user, now=timezone.now())}
