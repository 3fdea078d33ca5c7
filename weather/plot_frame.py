"""Parts of the weather's plots: one axis of days, the reader's units, hatching, bands and whiskers as SVG.

Classes only, no colours and no styles; the page's style sheets give the look. No text of users goes in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from weather.calc.arrays import BoolArray, FloatArray
from weather.calc.units import c_to_fahrenheit, kelvin_to_fahrenheit_degrees, m_s_to_mph, mm_to_inches

WIDTH: Final = 600
LEFT: Final = 40.0
RIGHT: Final = 468.0
LABEL_X: Final = 476
BAND_SD: Final = 1.2816  # 80 % of a normal distribution
_STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Track:
    """One value of a location over the days of a plot. All arrays are (days,).

    Parameters
    ----------
    values, spreads
        Values as used and their standard deviations [unit of the value; K]; NaN = unknown.
    is_marked
        True where something was put in or foretold.
    """

    values: FloatArray
    spreads: FloatArray
    is_marked: BoolArray


@dataclass(frozen=True, slots=True)
class Frame:
    """Pixels of days, and the reader's units."""

    days: list[date]
    step: float
    is_us: bool

    def middle(self, position: float) -> float:
        """Pixel of the middle of a day."""
        return LEFT + (position + 0.5) * self.step

    def depth(self, values_mm: FloatArray) -> FloatArray:
        """Depths in the reader's unit."""
        return mm_to_inches(values_mm) if self.is_us else values_mm

    def warmth(self, values_c: FloatArray) -> FloatArray:
        """Temperatures in the reader's unit."""
        return c_to_fahrenheit(values_c) if self.is_us else values_c

    def speed(self, values_m_s: FloatArray) -> FloatArray:
        """Speeds in the reader's unit."""
        return m_s_to_mph(values_m_s) if self.is_us else values_m_s

    def degrees(self, values_k: FloatArray) -> FloatArray:
        """Differences of temperatures in the reader's unit: no offset."""
        return kelvin_to_fahrenheit_degrees(values_k) if self.is_us else values_k

    @property
    def depth_unit(self) -> str:
        """Word of the unit of depth."""
        return "in" if self.is_us else "mm"


def text(x: float, y: float, words: str, kind: str = "") -> str:
    """A word at a place; words are ours, never a user's."""
    return f'<text x="{x:.1f}" y="{y:.1f}"{f" class={chr(34)}{kind}{chr(34)}" if kind else ""}>{words}</text>'


def round_top(value: float) -> float:
    """A round number not below a value."""
    if not np.isfinite(value) or value <= 0.0:
        return 1.0
    size = 10.0 ** np.floor(np.log10(value))
    return float(next(step * size for step in _STEPS if step * size >= value * 0.999))


def runs(known: BoolArray) -> list[list[int]]:
    """Positions of known days in unbroken runs."""
    found = np.flatnonzero(known)
    if found.size == 0:
        return []
    return [[int(p) for p in run] for run in np.split(found, np.flatnonzero(np.diff(found) > 1) + 1)]


def hatching(frame: Frame, is_filled: BoolArray, span: tuple[float, float]) -> str:
    """Slanting lines over days that rest on something filled, between two heights."""
    lines = []
    for position in np.flatnonzero(is_filled).tolist():
        x = LEFT + position * frame.step
        ys = np.arange(span[0], span[1] - 6.0, 7.0)
        lines.append("".join(f"M{x:.1f} {y + 6:.1f}L{x + frame.step:.1f} {y:.1f}" for y in ys))
    return f'<path class="p-hatch" d="{"".join(lines)}"/>' if lines else ""


def grid(frame: Frame, span: tuple[float, float]) -> str:
    """Lines of weeks with their days, between two heights."""
    last = frame.days[-1]
    positions = [at for at, day in enumerate(frame.days) if (last - day).days % 14 == 0]
    lines = "".join(f"M{frame.middle(at):.1f} {span[0]}V{span[1]}" for at in positions)
    words = [
        text(frame.middle(at), span[1] + 22, f"{frame.days[at].day} {frame.days[at]:%b}", "mid")
        for at in positions
    ]
    return f'<path class="gr" d="{lines}"/>{"".join(words)}'


def line(frame: Frame, run: list[int], y: Callable[[float], float], values: FloatArray) -> str:
    """A line through a run of days."""
    return "L".join(f"{frame.middle(at):.1f} {y(values[at]):.1f}" for at in run)


def area(
    frame: Frame, run: list[int], y: Callable[[float], float], lower: FloatArray, upper: FloatArray
) -> str:
    """The outline between two lines over a run of days."""
    return f"{line(frame, run, y, upper)}L{line(frame, run[::-1], y, lower)}z"


def whiskers(
    frame: Frame, marked: BoolArray, y: Callable[[float], float], lower: FloatArray, upper: FloatArray
) -> str:
    """Upright lines with a foot at both ends over marked days whose bounds are known."""
    found = np.flatnonzero(marked & np.isfinite(lower) & np.isfinite(upper)).tolist()
    foot = min(0.3 * frame.step, 2.5)
    marks = []
    for at in found:
        x, high, low = frame.middle(at), y(upper[at]), y(lower[at])
        marks.append(
            f"M{x:.1f} {high:.1f}V{low:.1f}M{x - foot:.1f} {high:.1f}h{2 * foot:.1f}"
            f"M{x - foot:.1f} {low:.1f}h{2 * foot:.1f}"
        )
    return f'<path class="p-whisk" d="{"".join(marks)}"/>' if marks else ""


def svg(height: int, words: str, parts: list[str]) -> str:
    """A whole plot; words are ours."""
    return (
        f'<svg class="plot" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}" role="img"'
        f' aria-label="{words}">{"".join(parts)}</svg>'
    )
