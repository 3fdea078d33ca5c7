"""A line between browser and server that a test can cut at the worst moment."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

CHUNK: Final = 65_536


@dataclass
class CutLine:
    """Passes each request on over a connection of its own; `cut` decides what becomes of it.

    `cut(method, path)` answers "" (passes), "before" (the server never hears of it), "after" (the server
    does it, the answer is lost) or "during" (the server has heard all of it, then `strike` falls on it).
    """

    upstream: tuple[str, int]
    cut: Callable[[str, str], str] = lambda _method, _path: ""
    is_down: bool = False
    strike: Callable[[], None] = lambda: None
    log: list[tuple[str, str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = self._door.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        threading.Thread(target=self._serve, daemon=True).start()

    def close(self) -> None:
        """Close the door."""
        self._door.close()

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self._door.accept()
            except OSError:
                return
            threading.Thread(target=self._one, args=(client,), daemon=True).start()

    def _one(self, client: socket.socket) -> None:
        with client, contextlib.suppress(OSError, ValueError):
            if self.is_down:
                return
            head, rest = _head(client)
            if not head:
                return
            method, path, _ = head.split(b"\r\n", 1)[0].decode("latin-1").split(" ", 2)
            what = self.cut(method, path)
            self.log.append((method, path, what))
            if what == "before" or self.is_down:
                return
            with socket.create_connection(self.upstream, timeout=30) as server:
                server.sendall(_closing(head) + b"\r\n\r\n" + rest)
                _pass_body(client, server, head, len(rest))
                if what == "during":
                    self.strike()
                while data := server.recv(CHUNK):
                    if what != "after" and not self.is_down:
                        client.sendall(data)


def _head(client: socket.socket) -> tuple[bytes, bytes]:
    """The head of a request, and what came with it of the body."""
    data = b""
    while b"\r\n\r\n" not in data:
        more = client.recv(CHUNK)
        if not more:
            return b"", b""
        data += more
    head, _, rest = data.partition(b"\r\n\r\n")
    return head, rest


def _closing(head: bytes) -> bytes:
    """The head, asking the server to close after its answer."""
    lines = [line for line in head.split(b"\r\n") if not line.lower().startswith(b"connection:")]
    return b"\r\n".join([*lines, b"Connection: close"])


def _pass_body(client: socket.socket, server: socket.socket, head: bytes, had: int) -> None:
    """The rest of a body whose length the head tells."""
    length = 0
    for line in head.split(b"\r\n")[1:]:
        name, _, value = line.partition(b":")
        if name.strip().lower() == b"content-length":
            length = int(value)
    while had < length:
        data = client.recv(min(CHUNK, length - had))
        if not data:
            return
        had += len(data)
        server.sendall(data)
