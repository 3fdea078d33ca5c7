"""A real HTTP server on this machine that plays a weather service, and its faults."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from weather.calc.new_days import NewDay
from weather.sources.client import Client, Patience
from weather.sources.kept_answers import KeptAnswers, KeptNowhere
from weather.sources.protocol import Answer

SERVICES = Path(__file__).parent.parent.parent / "data" / "weather" / "services"


@dataclass(frozen=True, slots=True)
class Reply:
    """What the service answers with."""

    body: bytes
    status: int = 200
    headers: tuple[tuple[str, str], ...] = ()
    cut_at: int | None = None  # the connection ends after so many bytes, although more were announced
    pause_s: float = 0.0  # before the answer begins
    piece_pause_s: float = 0.0  # between pieces of ten bytes
    announced: int | None = None  # the length that is told, where it is not the body's own
    repeated: int = 0  # the body is streamed so often, in chunks, without telling a length


@dataclass(slots=True)
class Service:
    """A played service: replies by path, in turn; the last one stays."""

    url: str = ""
    replies: dict[str, list[Reply]] = field(default_factory=dict)
    asked: list[tuple[str, dict[str, list[str]]]] = field(default_factory=list)
    agents: list[str] = field(default_factory=list)
    conditions: list[tuple[str | None, str | None]] = field(default_factory=list)
    sent: int = 0  # bytes of streamed bodies

    def play(self, path: str, *replies: Reply) -> None:
        """Replies to a path."""
        self.replies[path] = list(replies)


def reply(told: object, status: int = 200, **options: object) -> Reply:
    """A JSON answer, or a text one."""
    text = told if isinstance(told, str) else json.dumps(told)
    return Reply(text.encode(), status, **options)  # type: ignore[arg-type]


def stored(name: str) -> str:
    """A kept response of a service."""
    return (SERVICES / name).read_text(encoding="utf-8")


def _handler(service: Service) -> type[BaseHTTPRequestHandler]:
    """What answers for a service."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            service.asked.append((parts.path, parse_qs(parts.query)))
            service.agents.append(self.headers.get("User-Agent", ""))
            condition = (self.headers.get("If-None-Match"), self.headers.get("If-Modified-Since"))
            service.conditions.append(condition)
            waiting = service.replies.get(parts.path) or [Reply(b'{"detail": "Not Found"}', 404)]
            answer = waiting.pop(0) if len(waiting) > 1 else waiting[0]
            time.sleep(answer.pause_s)
            try:
                self.send_response(answer.status)
                for name, value in answer.headers:
                    self.send_header(name, value)
                (self._stream if answer.repeated else self._send)(answer)
            except (BrokenPipeError, ConnectionResetError):
                self.close_connection = True

        def _send(self, answer: Reply) -> None:
            if answer.status != HTTPStatus.NOT_MODIFIED:
                self.send_header("Content-Length", str(answer.announced or len(answer.body)))
            self.end_headers()
            body = answer.body if answer.cut_at is None else answer.body[: answer.cut_at]
            step = 10 if answer.piece_pause_s else max(1, len(body))
            for left in range(0, len(body), step):
                self.wfile.write(body[left : left + step])
                self.wfile.flush()
                time.sleep(answer.piece_pause_s)
            self.close_connection = answer.cut_at is not None or answer.announced is not None

        def _stream(self, answer: Reply) -> None:
            self.send_header("Transfer-Encoding", "chunked")
            self.end_headers()
            for _ in range(answer.repeated):
                self.wfile.write(b"%x\r\n%b\r\n" % (len(answer.body), answer.body))
                service.sent += len(answer.body)
            self.wfile.write(b"0\r\n\r\n")

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002
            """Stay silent."""

    return Handler


class _Server(ThreadingHTTPServer):
    """Stays silent about clients that hang up, as ours does with endless answers."""

    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """Say nothing."""


@contextmanager
def served() -> Iterator[Service]:
    """A running service."""
    service = Service()
    server = _Server(("127.0.0.1", 0), _handler(service))
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    service.url = f"http://127.0.0.1:{server.server_port}"
    try:
        yield service
    finally:
        server.shutdown()
        server.server_close()


def quick_client(
    waits: list[float] | None = None, kept: KeptAnswers | None = None, **patience: object
) -> Client:
    """A client that notes its waits instead of sleeping them."""
    given: dict[str, object] = {"connect_s": 2.0, "read_s": 0.4, "whole_s": 0.8, "tries": 3, **patience}
    noted = waits if waits is not None else []
    patient = Patience(**given)  # type: ignore[arg-type]
    return Client("garden@example.org", patient, noted.append, kept=kept or KeptNowhere())


def values(day: NewDay) -> dict[str, float | None]:
    """What a day tells, by column."""
    return {
        name: day.value(name) for name in ("tmin_c", "tmax_c", "tdew_c", "wind_m_s", "solar_mj_m2", "rain_mm")
    }


def only(answers: Iterator[Answer]) -> Answer:
    """The one answer that there is."""
    found = list(answers)
    assert len(found) == 1
    return found[0]
