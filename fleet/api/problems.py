"""Problem details of the API (RFC 9457): one shape for everything that went wrong."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Annotated, Final

from django.http import HttpResponse
from pydantic import BaseModel, Field

CONTENT_TYPE: Final = "application/problem+json"
TITLES: Final = {
    400: "The body cannot be read",
    401: "A device token is needed",
    403: "The token does not reach so far",
    404: "There is nothing here",
    405: "Not this way",
    413: "The body is too large",
    415: "JSON is wanted",
    422: "Some values cannot be taken",
    429: "Too many calls",
}


class ProblemPart(BaseModel):
    """One value that cannot be taken."""

    pointer: Annotated[str, Field(description="Where it stands in the body (RFC 6901).")]
    detail: Annotated[str, Field(description="What was found and what was expected.")]


class Problem(BaseModel):
    """What went wrong, as RFC 9457 has it."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    errors: list[ProblemPart] = []


class ProblemMet(Exception):
    """A call that cannot be served."""

    def __init__(
        self,
        status: int,
        detail: str,
        errors: Sequence[tuple[str, str]] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.errors = tuple(errors)
        self.headers = dict(headers or {})

    def response(self) -> HttpResponse:
        """The answer that says so."""
        body: dict[str, object] = {
            "type": "about:blank",
            "title": TITLES[self.status],
            "status": self.status,
            "detail": self.detail,
            "errors": [{"pointer": pointer, "detail": detail} for pointer, detail in self.errors],
        }
        # Escaped: half of a pair of an unreadable letter must not break the answer that complains of it.
        return HttpResponse(
            json.dumps(body, ensure_ascii=True),
            status=self.status,
            content_type=CONTENT_TYPE,
            headers=self.headers,
        )


def pointer_of(parts: Sequence[object]) -> str:
    """A JSON pointer of keys and positions."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)
