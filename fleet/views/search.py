"""Search by site, address, customer."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from fleet.selectors.search import search_sites

LONGEST = 100


@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """Show the sites that answer; the only one, found by its whole code, opens at once."""
    text = request.GET.get("q", "")[:LONGEST].replace("\x00", "").strip()
    answer = search_sites(text=text)
    if answer.total == 1 and answer.hits[0].code.casefold() == text.casefold():
        return redirect("fleet:site", code=answer.hits[0].code)
    return render(request, "fleet/search.html", {"q": text, "found": answer})
