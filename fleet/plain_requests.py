"""Zero characters are no text: some databases refuse them, so no page gets to see one."""

from __future__ import annotations

from collections.abc import Callable

from django.http import Http404, HttpRequest, HttpResponse, QueryDict

NUL = "\x00"


class PlainRequestsMiddleware:
    """An address with a zero character names nothing; in questions and forms it is taken out.

    Stands behind the check of forms, which reads them anyway.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Refuse the address, or go on with plain questions."""
        if NUL in request.path_info:
            raise Http404
        request.GET = _plain(request.GET)  # type: ignore[assignment]
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_: object) -> None:
        """Make the fields of a form plain."""
        if request.method == "POST":
            request.POST = _plain(request.POST)  # type: ignore[assignment]


def _plain(fields: QueryDict) -> QueryDict:
    """The same fields without zero characters."""
    if not any(NUL in value for name, values in fields.lists() for value in (name, *values)):
        return fields
    plain = QueryDict(mutable=True)
    for name, values in fields.lists():
        plain.setlist(name.replace(NUL, ""), [value.replace(NUL, "") for value in values])
    return plain
