"""Every request has an id; log lines are JSON with that id and, in the worker, the id of the stage run."""

from __future__ import annotations

import json
import logging
import re
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime

from django.http import HttpRequest, HttpResponse

_REQUEST: ContextVar[str] = ContextVar("request_id", default="")
_RUN: ContextVar[int | None] = ContextVar("run_id", default=None)
_GIVEN = re.compile(r"[A-Za-z0-9-]{8,32}\Z")
logger = logging.getLogger("rootround.request")


def request_id() -> str:
    """The id of the request that is being answered; empty outside of one."""
    return _REQUEST.get()


@contextmanager
def of_run(run_id: int) -> Iterator[None]:
    """Log lines inside carry the id of a stage run."""
    token = _RUN.set(run_id)
    try:
        yield
    finally:
        _RUN.reset(token)


class RequestLogMiddleware:
    """Gives the request its id, says it in the answer, and writes one line when it is done."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The response of the next layer, with `X-Request-ID`."""
        given = request.headers.get("X-Request-ID", "")
        token = _REQUEST.set(given if _GIVEN.match(given) else uuid.uuid4().hex)
        started = time.perf_counter()
        try:
            response = self.get_response(request)
            response["X-Request-ID"] = _REQUEST.get()
            match = request.resolver_match
            facts = {
                "method": request.method,
                "view": match.view_name if match is not None else "",  # no path: it may hold a signed link
                "status": response.status_code,
                "ms": round((time.perf_counter() - started) * 1000, 1),
                "user": getattr(getattr(request, "user", None), "pk", None),
            }
            logger.info("request", extra={"facts": facts})
            return response
        finally:
            _REQUEST.reset(token)


class JsonLines(logging.Formatter):
    """One JSON object a line; line ends of a message stay inside its text, so nobody forges a line."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        said: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, tz=UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        if _REQUEST.get():
            said["request_id"] = _REQUEST.get()
        if _RUN.get() is not None:
            said["run_id"] = _RUN.get()
        said.update(getattr(record, "facts", {}))
        if record.exc_info:
            said["error"] = self.formatException(record.exc_info)
        return json.dumps(said, default=str)
