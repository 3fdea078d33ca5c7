"""Every word and every mark, explained."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.words import GROUPS, WORDS


@require_safe
def words(request: HttpRequest) -> HttpResponse:
    """Show the words page."""
    return render(request, "fleet/words.html", {"groups": GROUPS, "count": len(WORDS)})
