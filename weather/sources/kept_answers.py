"""Answers with a validator (ETag, Last-Modified), kept so that a service need not send them twice."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final, Protocol

MOST_CHARACTERS: Final = 2_000_000
MOST_FILES: Final = 2_000
KEPT_S: Final = 40 * 86_400.0


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer and what proves that it is still the newest one."""

    text: str
    etag: str = ""
    last_modified: str = ""

    @classmethod
    def of(cls, text: str, headers: Mapping[str, str]) -> Kept:
        """Return an answer with the validators of its headers."""
        return cls(text, headers.get("ETag", ""), headers.get("Last-Modified", ""))

    def conditions(self) -> dict[str, str]:
        """Return the headers that ask for the answer only where it has changed (RFC 9110, 13.1)."""
        conditions = {"If-None-Match": self.etag, "If-Modified-Since": self.last_modified}
        return {name: value for name, value in conditions.items() if value}


class KeptAnswers(Protocol):
    """Where answers are kept."""

    def find(self, key: str) -> Kept | None:
        """Return what is kept of a question."""
        ...

    def keep(self, key: str, answer: Kept) -> None:
        """Keep an answer, where it has a validator."""
        ...

    def forget(self, key: str) -> None:
        """Drop what is kept of a question."""
        ...


class KeptNowhere:
    """Keeps nothing: every answer is sent whole."""

    def find(self, key: str) -> Kept | None:
        """Return nothing."""
        del key
        return None

    def keep(self, key: str, answer: Kept) -> None:
        """Keep nothing."""
        del key, answer

    def forget(self, key: str) -> None:
        """Nothing to drop."""
        del key


@dataclass(frozen=True, slots=True)
class KeptInFolder:
    """Keeps answers as files; names are digests, so that no key of a service stands in them."""

    folder: Path

    def find(self, key: str) -> Kept | None:
        """Return what is kept of a question; a file that cannot be read counts as none."""
        try:
            told = json.loads(self._path(key).read_text(encoding="utf-8"))
            return Kept(str(told["text"]), str(told["etag"]), str(told["last_modified"]))
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def keep(self, key: str, answer: Kept) -> None:
        """Keep an answer with a validator; a full disk only costs the answer's second sending."""
        if not answer.conditions() or len(answer.text) > MOST_CHARACTERS:
            return
        path = self._path(key)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            half = path.with_suffix(".new")
            half.write_text(json.dumps(asdict(answer)), encoding="utf-8")
            half.replace(path)
            self._tidy()
        except OSError:
            path.unlink(missing_ok=True)

    def forget(self, key: str) -> None:
        """Drop what is kept of a question."""
        self._path(key).unlink(missing_ok=True)

    def _path(self, key: str) -> Path:
        """File of a question."""
        return self.folder / f"{hashlib.sha256(key.encode()).hexdigest()}.json"

    def _tidy(self) -> None:
        """Drop old files, and the oldest where there are too many."""
        aged = sorted((path.stat().st_mtime, path) for path in self.folder.glob("*.json"))
        oldest = time.time() - KEPT_S
        for at, (moment, path) in enumerate(aged):
            if moment < oldest or at < len(aged) - MOST_FILES:
                path.unlink(missing_ok=True)
