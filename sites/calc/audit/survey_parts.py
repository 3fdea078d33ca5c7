"""The parts of a survey: questions, the things they are about, the steps of the walk."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class State(StrEnum):
    """How well the book knows something."""

    KNOWN = "known"
    ASSUMED = "assumed"
    MISSING = "missing"
    OPTIONAL = "optional"  # empty, and nothing waits for it


@dataclass(frozen=True, slots=True)
class Item:
    """One question.

    Parameters
    ----------
    column
        Column of the book.
    label
        The question.
    value
        What the book has, in SI; None or empty: nothing.
    state
        How well it is known.
    shape
        `text`, `long`, `number`, `whole`, `day`, `clock` or `choice`.
    choices
        Value and word of each choice.
    quantity
        Kind of quantity whose unit the reader chooses; empty: none.
    unit
        Fixed unit; empty: none.
    assumed
        What counts as long as nothing is known, in words or SI; None: nothing.
    """

    column: str
    label: str
    value: Any
    state: State
    shape: str = "text"
    choices: tuple[tuple[str, str], ...] = ()
    quantity: str = ""
    unit: str = ""
    assumed: Any = None


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing of the garden with its questions. `key` names it below its site, parted by /."""

    kind: str
    key: str
    title: str
    items: tuple[Item, ...]
    has_place: bool | None = None  # None: it needs none
    pk: int = 0

    @property
    def key_parts(self) -> list[str]:
        """Parts of its key; none for the site itself."""
        return [part for part in self.key.split("/") if part]

    def count(self, state: State) -> int:
        """How many of its questions are in a state; a missing place counts as missing."""
        placeless = state == State.MISSING and self.has_place is False
        return sum(item.state == state for item in self.items) + placeless

    @property
    def missing(self) -> int:
        """Questions without an answer."""
        return self.count(State.MISSING)

    @property
    def assumed(self) -> int:
        """Questions that a default answers."""
        return self.count(State.ASSUMED)


@dataclass(frozen=True, slots=True)
class Step:
    """A part of the walk."""

    code: str
    title: str
    things: tuple[Thing, ...]
    lacks: tuple[str, ...] = ()  # things that should be there and are not

    @property
    def missing(self) -> int:
        """Questions without an answer, and things that are not there."""
        return sum(thing.missing for thing in self.things) + len(self.lacks)

    @property
    def assumed(self) -> int:
        """Questions that a default answers."""
        return sum(thing.assumed for thing in self.things)


@dataclass(frozen=True, slots=True)
class Survey:
    """The whole survey."""

    steps: tuple[Step, ...]

    @property
    def missing(self) -> int:
        """Questions without an answer."""
        return sum(step.missing for step in self.steps)

    @property
    def assumed(self) -> int:
        """Questions that a default answers."""
        return sum(step.assumed for step in self.steps)

    @property
    def known(self) -> int:
        """Questions with an answer."""
        return sum(thing.count(State.KNOWN) for step in self.steps for thing in step.things)
