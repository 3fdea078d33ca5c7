"""Search and act: gardens by their words, pages and actions by theirs, people by name; and the keys."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.doings import doings_for
from fleet.selectors.company import company_day
from fleet.selectors.search import search_people, search_sites
from fleet.views.asked import asking_user

LONGEST = 100


@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """Show what answers; the only garden, found by its whole code, opens at once."""
    user = asking_user(request)
    text = request.GET.get("q", "")[:LONGEST].strip()
    answer = search_sites(text=text, user=user, today=company_day(now=timezone.now()))
    if answer.total == 1 and answer.hits[0].code.casefold() == text.casefold():
        return redirect("fleet:site", code=answer.hits[0].code)
    facts = {
        "q": text,
        "found": answer,
        "doings": doings_for(role=user.role, text=text),
        "people": search_people(text=text, user=user),
    }
    return render(request, "fleet/search.html", facts)


@require_safe
def keys(request: HttpRequest) -> HttpResponse:
    """List the keys of every page."""
    return render(request, "fleet/keys.html")
