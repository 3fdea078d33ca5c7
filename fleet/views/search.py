"""Search and act: gardens by their words, pages and actions by theirs, people by name; and the keys."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.doings import doings_for
from fleet.selectors.company.company import company_day
from fleet.selectors.search import search_people, search_sites
from fleet.views.asked import asking_user

LONGEST = 100
LINES = 5


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
def suggest(request: HttpRequest) -> JsonResponse:
    """The few gardens, people and pages that begin to answer `?q=`: each with its words, kind and address."""
    user = asking_user(request)
    text = request.GET.get("q", "")[:LONGEST].strip()
    if not text:
        return JsonResponse({"lines": []})
    today = company_day(now=timezone.now())
    sites = search_sites(text=text, user=user, today=today, most=LINES).hits
    people = search_people(text=text, user=user, most=2)
    lines = [
        *((f"{hit.code} {hit.name}", "garden", reverse("fleet:site", args=[hit.code])) for hit in sites),
        *(
            (one.name, "today’s stops", f"{reverse('fleet:day')}?{urlencode({'technician': one.code})}")
            for one in people
        ),
        *((one.says, "page", one.url) for one in doings_for(role=user.role, text=text, most=LINES)),
    ]
    return JsonResponse({"lines": [{"words": words, "kind": kind, "url": url} for words, kind, url in lines]})


@require_safe
def keys(request: HttpRequest) -> HttpResponse:
    """List the keys of every page."""
    return render(request, "fleet/keys.html")
