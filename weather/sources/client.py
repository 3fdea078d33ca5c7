"""The only HTTP client of the weather services: polite, patient, and never endless."""

from __future__ import annotations

import json
import random
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from http import HTTPStatus
from typing import Final
from urllib.parse import urlencode, urlsplit

import requests

from weather.sources.kept_answers import Kept, KeptAnswers, KeptNowhere
from weather.sources.protocol import SourceChanged, SourceRefused, SourceUnavailable

PRODUCT: Final = "Rootround/0.1"
_PIECE: Final = 65_536
_BUSY: Final = frozenset(
    {
        HTTPStatus.REQUEST_TIMEOUT,
        HTTPStatus.TOO_EARLY,
        HTTPStatus.TOO_MANY_REQUESTS,
        HTTPStatus.INTERNAL_SERVER_ERROR,
        HTTPStatus.BAD_GATEWAY,
        HTTPStatus.SERVICE_UNAVAILABLE,
        HTTPStatus.GATEWAY_TIMEOUT,
    }
)


@dataclass(frozen=True, slots=True)
class Patience:
    """How long the client waits and how often it asks.

    Parameters
    ----------
    connect_s, read_s
        Longest wait for a connection, and for the next piece of an answer [s].
    whole_s
        Longest time for one whole answer [s].
    tries
        How often a question is asked in all [1].
    first_wait_s
        Wait before the second try; it doubles with each one and is scattered by half [s].
    longest_wait_s
        No wait is longer, whatever the service asks for; if it asks for more, we come again another day [s].
    most_bytes
        Longest answer that is read [bytes].
    gap_s
        Least time between two questions: services count how often they are asked [s].
    """

    connect_s: float = 10.0
    read_s: float = 30.0
    whole_s: float = 120.0
    tries: int = 4
    first_wait_s: float = 1.0
    longest_wait_s: float = 90.0
    most_bytes: int = 20_000_000
    gap_s: float = 0.0

    def __post_init__(self) -> None:
        """Reject patience without end or without a try."""
        waits = (self.connect_s, self.read_s, self.whole_s, self.longest_wait_s)
        fits = self.tries >= 1 and self.most_bytes >= 1 and self.gap_s >= 0
        if not fits or not all(wait > 0 for wait in waits):
            raise ValueError("expected tries >= 1, most_bytes >= 1, gap_s >= 0 and waits above 0")


class _TryAgain(Exception):
    """One try failed in a way that another may not."""

    def __init__(self, reason: str, wait_s: float | None = None) -> None:
        super().__init__(reason)
        self.wait_s = wait_s


@dataclass(slots=True)
class Client:
    """Asks one service; `contact` is sent with every question, as the services want it."""

    contact: str
    patience: Patience = field(default_factory=Patience)
    sleep: Callable[[float], None] = time.sleep
    scatter: random.Random = field(default_factory=random.Random)
    session: requests.Session = field(default_factory=requests.Session)
    kept: KeptAnswers = field(default_factory=KeptNowhere)
    asked_at: dict[str, float] = field(default_factory=dict)  # by host, of the monotonic clock

    def user_agent(self) -> str:
        """Return how we present ourselves."""
        return f"{PRODUCT} ({self.contact})" if self.contact else PRODUCT

    def get_json(self, url: str, params: Mapping[str, str] | None = None) -> object:
        """Return the JSON of an address; something else in its place is `SourceChanged`."""
        text = self.get_text(url, params)
        try:
            return json.loads(text, parse_constant=_no_constant)
        except (ValueError, RecursionError):
            self.kept.forget(_key(url, params))
            start = text.strip()[:40].replace("\n", " ")
            raise SourceChanged(f"{_host(url)} did not answer with JSON but with {start!r}") from None

    def get_text(self, url: str, params: Mapping[str, str] | None = None) -> str:
        """Return the text of an address, asked again with growing waits while the service is busy."""
        waits = self.patience
        for attempt in range(1, waits.tries + 1):
            try:
                return self._once(url, params)
            except _TryAgain as again:
                wait_s = self._wait_s(attempt, again.wait_s)
                if attempt == waits.tries or wait_s > waits.longest_wait_s:
                    raise SourceUnavailable(f"{_host(url)}: {again} ({attempt} tries)") from again
                self.sleep(wait_s)
        raise AssertionError("unreachable: the last try returns or raises")

    def _wait_s(self, attempt: int, asked_s: float | None) -> float:
        """Wait before the next try: what the service asked for, else doubling, scattered by half [s]."""
        if asked_s is not None:
            return asked_s + self.scatter.random()
        grown = self.patience.first_wait_s * 2.0 ** (attempt - 1)
        return min(grown, self.patience.longest_wait_s) * (0.5 + 0.5 * self.scatter.random())

    def _keep_distance(self, host: str) -> None:
        """Wait until the host may be asked again."""
        now = time.monotonic()
        wait_s = self.asked_at.get(host, now - self.patience.gap_s) + self.patience.gap_s - now
        if wait_s > 0.0:
            self.sleep(wait_s)
        self.asked_at[host] = now + max(0.0, wait_s)

    def _once(self, url: str, params: Mapping[str, str] | None) -> str:
        """One try; an answer that the service has not changed since is taken from what was kept."""
        self._keep_distance(_host(url))
        began, key = time.monotonic(), _key(url, params)
        known = self.kept.find(key)
        headers = {"User-Agent": self.user_agent(), "Accept": "application/json, text/csv"}
        try:
            with self.session.get(
                url,
                params=dict(params or {}),
                headers=headers | (known.conditions() if known else {}),
                timeout=(self.patience.connect_s, self.patience.read_s),
                stream=True,
            ) as response:
                if _host(response.url) != _host(url):
                    raise SourceChanged(f"{_host(url)} sent us on to {_host(response.url)}")
                if known is not None and response.status_code == HTTPStatus.NOT_MODIFIED:
                    return known.text
                body = self._body(response, began)
                self._check_status(response, body)
                text = body.decode("utf-8", errors="strict")
                self.kept.keep(key, Kept.of(text, response.headers))
                return text
        except requests.Timeout as error:
            raise _TryAgain("no answer in time") from error
        except UnicodeDecodeError:
            raise SourceChanged(f"{_host(url)} answered with bytes that are no UTF-8 text") from None
        except requests.RequestException as error:
            raise _TryAgain(f"the connection failed ({type(error).__name__})") from error

    def _body(self, response: requests.Response, began: float) -> bytes:
        """The answer's bytes, within the limits of size and time."""
        announced = response.headers.get("Content-Length", "")
        if announced.isdigit() and int(announced) > self.patience.most_bytes:
            raise SourceChanged(f"the answer is longer than {self.patience.most_bytes} bytes")
        pieces, size = [], 0
        for piece in response.iter_content(_PIECE):
            size += len(piece)
            if size > self.patience.most_bytes:
                raise SourceChanged(f"the answer is longer than {self.patience.most_bytes} bytes")
            if time.monotonic() - began > self.patience.whole_s:
                raise _TryAgain(f"the answer took longer than {self.patience.whole_s:g} s")
            pieces.append(piece)
        return b"".join(pieces)

    def _check_status(self, response: requests.Response, body: bytes) -> None:
        """Raise where the answer is none."""
        if response.status_code == HTTPStatus.OK:
            return
        words = f"HTTP {response.status_code}{_reason(body)}"
        if response.status_code in _BUSY:
            raise _TryAgain(words, _retry_after_s(response.headers.get("Retry-After")))
        raise SourceRefused(f"{_host(response.url)}: {words}")


def _no_constant(word: str) -> None:
    """NaN and Infinity are no JSON, yet some services write them: they mean unknown."""
    del word


def _key(url: str, params: Mapping[str, str] | None) -> str:
    """What a question is kept under."""
    return f"{url}?{urlencode(sorted((params or {}).items()))}"


def _host(url: str) -> str:
    """The host of an address."""
    return urlsplit(url).netloc


def _reason(body: bytes) -> str:
    """What the service says about its error, where it says it in a known form."""
    try:
        told = json.loads(body)
    except ValueError:
        return ""
    if not isinstance(told, dict):
        return ""
    for key in ("detail", "reason", "messages", "errorMessage", "title"):
        if told.get(key):
            return f": {str(told[key])[:160]}"
    return ""


def _retry_after_s(header: str | None) -> float | None:
    """Seconds that the service asks us to wait; None where it does not."""
    if header is None:
        return None
    if header.strip().isdigit():
        return float(header)
    try:
        moment = parsedate_to_datetime(header)
    except (TypeError, ValueError):
        return None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return max(0.0, (moment - datetime.now(UTC)).total_seconds())
