"""A filter of a list, as a page offers it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Choice:
    """A filter with how many rows it leaves."""

    key: str
    word: str
    count: int
