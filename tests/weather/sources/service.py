"""A real HTTP server on this machine that plays a weather service, and its faults."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from weather.sources.client import Client, Patience

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


@dataclass(slots=True)
class Service:
    """A played service: replies by path, in turn; the last one stays."""

    url: str = ""
    replies: dict[str, list[Reply]] = field(default_factory=dict)
    asked: list[tuple[str, dict[str, list[str]]]] = field(default_factory=list)
    agents: list[str] = field(default_factory=list)

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


@contextmanager
def served() -> Iterator[Service]:
    """A running service."""
    service = Service()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            service.asked.append((parts.path, parse_qs(parts.query)))
            service.agents.append(self.headers.get("User-Agent", ""))
            waiting = service.replies.get(parts.path) or [Reply(b'{"detail": "Not Found"}', 404)]
            answer = waiting.pop(0) if len(waiting) > 1 else waiting[0]
            time.sleep(answer.pause_s)
            try:
                self._send(answer)
            except (BrokenPipeError, ConnectionResetError):
                self.close_connection = True

        def _send(self, answer: Reply) -> None:
            self.send_response(answer.status)
            self.send_header("Content-Length", str(len(answer.body)))
            for name, value in answer.headers:
                self.send_header(name, value)
            self.end_headers()
            body = answer.body if answer.cut_at is None else answer.body[: answer.cut_at]
            step = 10 if answer.piece_pause_s else max(1, len(body))
            for left in range(0, len(body), step):
                self.wfile.write(body[left : left + step])
                self.wfile.flush()
                time.sleep(answer.piece_pause_s)
            if answer.cut_at is not None:
                self.close_connection = True

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002
            """Stay silent."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    service.url = f"http://127.0.0.1:{server.server_port}"
    try:
        yield service
    finally:
        server.shutdown()
        server.server_close()


def quick_client(waits: list[float] | None = None, **patience: object) -> Client:
    """A client that notes its waits instead of sleeping them."""
    given: dict[str, object] = {"connect_s": 2.0, "read_s": 0.4, "whole_s": 0.8, "tries": 3, **patience}
    kept = waits if waits is not None else []
    return Client("garden@example.org", Patience(**given), kept.append)  # type: ignore[arg-type]
