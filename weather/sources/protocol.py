"""What every source of daily weather offers, and how it fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol

from weather.calc.new_days import NewDay, NewPlace


class SourceError(Exception):
    """A source did not give what it was asked for; the message is fit for the page."""


class SourceUnavailable(SourceError):
    """It could not be reached, was too slow, too busy or broken off, and stayed so when asked again."""


class SourceRefused(SourceError):
    """It answered that it will not serve this request; asking again would not help."""


class SourceChanged(SourceError):
    """It answered in another form, unit or time than the one agreed; nothing of it can be trusted."""


@dataclass(frozen=True, slots=True)
class Point:
    """A location that weather is asked for; its height is None until a source has told it."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None = None
    is_grid: bool = True

    def place(self, elevation_m: float | None) -> NewPlace:
        """Return the named place, with a source's height where none is known yet."""
        height = self.elevation_m if self.elevation_m is not None else elevation_m
        if height is None:
            raise SourceChanged(f"no height came with {self.name}, and none is known")
        try:
            return NewPlace(self.name, self.latitude_deg, self.longitude_deg, height, self.is_grid)
        except ValueError as error:
            raise SourceChanged(str(error)) from error


@dataclass(frozen=True, slots=True)
class Question:
    """Days that are asked for: `start` to `end` (exclusive); forecasts carry `today` as their issue."""

    start: date
    end: date
    today: date

    def __post_init__(self) -> None:
        """Reject a span without days."""
        if not self.start < self.end:
            raise ValueError("start must lie before end")


@dataclass(frozen=True, slots=True)
class Answer:
    """What came for one point: days, or the error; remarks tell what was left out."""

    asked: str
    days: tuple[NewDay, ...] = ()
    error: SourceError | None = None
    remarks: tuple[str, ...] = ()


class DailySource(Protocol):
    """A service of daily weather."""

    @property
    def name(self) -> str:
        """Short name, stored with each day."""
        ...

    @property
    def kind(self) -> str:
        """`observed` or `forecast`."""
        ...

    @property
    def notice(self) -> str:
        """What its licence asks to be shown."""
        ...

    def ask(self, points: Sequence[Point], question: Question) -> Iterator[Answer]:
        """Answers point by point, or station by station; an error of one never stops the others."""
        ...


def point_by_point(
    answer: Callable[[Point, Question], Answer], points: Sequence[Point], question: Question
) -> Iterator[Answer]:
    """Answers of a service that is asked for one point at a time; an error of one never stops the others.

    Parameters
    ----------
    answer
        Asks for one point; may raise `SourceError`.
    points, question
        What is asked.
    """
    for point in points:
        try:
            yield answer(point, question)
        except SourceError as error:
            yield Answer(point.name, error=error)
