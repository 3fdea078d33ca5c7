"""A zone's water on one time axis as SVG: rain from the top, ET, depletion in its band, starts below.

Classes only, no colours and no styles; the page's style sheet gives the look. No text of users goes in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from sites.start_ticks import StartsRow, start_ticks_svg

FloatArray = npt.NDArray[np.floating]
BoolArray = npt.NDArray[np.bool_]
Pixel = Callable[[float], float]

WIDTH, HEIGHT = 600, 372
LEFT, RIGHT = 40.0, 478.0
_LABEL_X = 486
# Top and bottom of the panels [px].
_RAIN, _DEMAND, _DEPLETION, _STARTS = (8.0, 66.0), (78.0, 122.0), (138.0, 290.0), (302.0, 336.0)
_BAND_SD = 1.2816  # 80 % of a normal distribution


@dataclass(frozen=True, slots=True)
class WaterStack:
    """What the plot shows, arrays (days,) [mm]; NaN = not known.

    Parameters
    ----------
    days
        Calendar days.
    rain_mm, landscape_et_mm, depletion_mm, depletion_sd_mm
        Rain, ETL, depletion at the day's end and its standard deviation [mm].
    is_filled
        Days whose weather was filled and not measured.
    allowed_mm, threshold_mm
        Allowed depletion, and depletion at which the sensor lets starts through [mm]; NaN = none.
    starts
        Logged starts.
    per_mm, unit
        Factor and word of the reader's unit of depth.
    """

    days: Sequence[date]
    rain_mm: FloatArray
    landscape_et_mm: FloatArray
    depletion_mm: FloatArray
    depletion_sd_mm: FloatArray
    is_filled: BoolArray
    allowed_mm: float
    threshold_mm: float
    starts: Sequence[StartsRow]
    per_mm: float = 1.0
    unit: str = "mm"


def water_stack_svg(stack: WaterStack) -> str:
    """The stack as ready SVG markup, or an empty text where no day is known."""
    if len(stack.days) < 2 or not np.isfinite(stack.depletion_mm).any():
        return ""
    step = (RIGHT - LEFT) / len(stack.days)
    parts = [_hatching(stack, step), _grid(stack, step), _rain(stack, step), _demand(stack, step)]
    parts += [_depletion(stack, step), start_ticks_svg(stack.starts, LEFT, step, _STARTS)]
    parts += [
        _text(_LABEL_X, _STARTS[0] + 10, "Starts", "lab"),
        _text(_LABEL_X, _STARTS[0] + 25, "filled = ran"),
    ]
    first, last = stack.days[0], stack.days[-1]
    words = (
        f"Water in the root zone from {first.day} {first:%B} to {last.day} {last:%B %Y}: rain, landscape ET,"
        " depletion with its uncertainty, and starts; the table below holds the numbers"
    )
    return (
        f'<svg class="plot" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img"'
        f' aria-label="{words}">{"".join(parts)}</svg>'
    )


def depletion_bar_svg(depletion_mm: float, allowed_mm: float) -> str:
    """A small bar of depletion against the allowed depletion, for a table's row [mm]."""
    if not (np.isfinite(depletion_mm) and allowed_mm > 0):
        return ""
    share = min(depletion_mm / allowed_mm, 2.0)
    kind = "over" if share > 1.0 else "light"
    return (
        '<svg class="plot" viewBox="0 0 58 12" width="58" height="12" aria-hidden="true">'
        f'<rect class="hb {kind}" x="0" y="2.5" width="{max(28.0 * share, 0.8):.1f}" height="7"/>'
        '<path class="p-mark2" d="M28 0V12"/></svg>'
    )


def nice_top(highest: float) -> float:
    """The next round number at or above a value."""
    if not highest > 0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(highest))
    return float(
        next(
            power * head
            for head in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
            if power * head >= highest * 0.999
        )
    )


def _text(x: float, y: float, words: str, kind: str = "") -> str:
    """A line of text."""
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}">{words}</text>'


def _number(value: float) -> str:
    """A number with as many decimals as its size asks for."""
    digits = 0 if abs(value) >= 20 else (1 if abs(value) >= 1 else 2)
    return f"{value:.{digits}f}"


def _middle(position: float | np.integer, step: float) -> float:
    """Pixel of the middle of a day."""
    return LEFT + (float(position) + 0.5) * step


def _hatching(stack: WaterStack, step: float) -> str:
    """Slanting lines over days whose weather was filled."""
    lines = []
    for position in np.flatnonzero(stack.is_filled):
        x = LEFT + position * step
        ys = np.arange(_RAIN[0], _DEPLETION[1], 7.0)
        lines.append("".join(f"M{x:.1f} {y + 6:.1f}L{x + step:.1f} {y:.1f}" for y in ys))
    return f'<path class="p-hatch" d="{"".join(lines)}"/>' if lines else ""


def _grid(stack: WaterStack, step: float) -> str:
    """Week lines and the days under the axis."""
    count = len(stack.days)
    every = 7 if count <= 63 else (14 if count <= 126 else 61)
    positions = [p for p in range(count) if (stack.days[p] - stack.days[-1]).days % every == 0]
    lines = "".join(f"M{_middle(p, step):.1f} {_RAIN[0]}V{_STARTS[1]}" for p in positions)
    words = [
        _text(_middle(p, step), _STARTS[1] + 22, f"{stack.days[p].day} {stack.days[p]:%b}", "mid")
        for p in positions
    ]
    return f'<path class="gr" d="{lines}"/>{"".join(words)}'


def _rain(stack: WaterStack, step: float) -> str:
    """Bars that hang from the top; the largest carry their number."""
    rain = np.nan_to_num(stack.rain_mm) * stack.per_mm
    low, high = _RAIN
    top = nice_top(max(float(rain.max()), 10.0 * stack.per_mm))
    width = max(step * 0.7, 1.0)
    bars = []
    for position in np.flatnonzero(rain > 0):
        height = (high - low) * rain[position] / top
        x = _middle(position, step)
        size = f'width="{width:.1f}" height="{height:.1f}"'
        bars.append(f'<rect class="p-rain" x="{x - width / 2:.1f}" y="{low}" {size}/>')
    for position in np.argsort(rain)[-2:]:
        if rain[position] > 0.25 * top:
            y = low + (high - low) * rain[position] / top
            bars.append(_text(_middle(position, step) + width / 2 + 3, y, _number(rain[position])))
    return (
        f'<path class="ax" d="M{LEFT} {low}H{RIGHT}"/>{"".join(bars)}'
        + _text(LEFT - 6, low + 4, "0", "end")
        + _text(LEFT - 6, high + 4, f"{top:g}", "end")
        + _text(_LABEL_X, low + 12, f"Rain, {stack.unit}", "lab")
        + _text(_LABEL_X, low + 28, f"{_number(float(rain.sum()))} in all")
    )


def _demand(stack: WaterStack, step: float) -> str:
    """ETL as a line over its area, unknown days left open."""
    values = stack.landscape_et_mm * stack.per_mm
    low, high = _DEMAND
    top = nice_top(float(np.nanmax(values))) if np.isfinite(values).any() else 1.0
    parts = []
    for run in _known_runs(values):
        points = [(_middle(p, step), high - (high - low) * values[p] / top) for p in run]
        line = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        parts.append(
            f'<path class="p-etf" d="M{points[0][0]:.1f} {high}L{line}L{points[-1][0]:.1f} {high}z"/>'
        )
        parts.append(f'<path class="p-et" d="M{line}"/>')
    last = _last_known(values)
    return (
        f'{"".join(parts)}<path class="ax" d="M{LEFT} {high}H{RIGHT}"/>'
        + _text(LEFT - 6, low + 4, f"{top:g}", "end")
        + _text(LEFT - 6, high + 4, "0", "end")
        + _text(_LABEL_X, low + 12, f"ETL, {stack.unit}/day", "lab")
        + (_text(_LABEL_X, low + 28, f"{_number(last)} at last") if np.isfinite(last) else "")
    )


def _depletion(stack: WaterStack, step: float) -> str:
    """Depletion downwards in its band, with the lines of threshold and allowed depletion."""
    values = stack.depletion_mm * stack.per_mm
    half = _BAND_SD * np.nan_to_num(stack.depletion_sd_mm) * stack.per_mm
    low, high = _DEPLETION
    lines = [mm * stack.per_mm for mm in (stack.allowed_mm, stack.threshold_mm) if np.isfinite(mm)]
    top = nice_top(float(np.nanmax([np.nanmax(values + half), *lines])) * 1.02)

    def y_of(value: float) -> float:
        return low + (high - low) * min(max(value, 0.0), top) / top

    parts = [f'<path class="ax" d="M{LEFT} {low}H{RIGHT}"/>']
    for run in _known_runs(values):
        upper = [f"{_middle(p, step):.1f} {y_of(values[p] - half[p]):.1f}" for p in run]
        lower = [f"{_middle(p, step):.1f} {y_of(values[p] + half[p]):.1f}" for p in reversed(run)]
        parts.append(f'<path class="p-band" d="M{"L".join(upper + lower)}z"/>')
        if np.isfinite(stack.allowed_mm):
            parts.append(_over(run, values, stack.allowed_mm * stack.per_mm, step, y_of))
        line = "L".join(f"{_middle(p, step):.1f} {y_of(values[p]):.1f}" for p in run)
        parts.append(f'<path class="p-dep" d="M{line}"/>')
    parts += [_text(LEFT - 6, y_of(mark) + 4, f"{mark:g}", "end") for mark in (0.0, top / 2, top)]
    parts.append(_lines(stack, y_of))
    now, spread = _last_known(values), half[np.isfinite(values)][-1]
    parts.append(_text(_LABEL_X, low + 4, f"Depletion, {stack.unit}", "lab"))
    parts.append(_text(_LABEL_X, high + 4, f"now {_number(now)} ± {_number(float(spread))}"))
    return "".join(parts)


def _over(run: list[int], values: FloatArray, allowed: float, step: float, y_of: Pixel) -> str:
    """The area between the allowed depletion and what lies beyond it."""
    base = y_of(allowed)
    points = [f"{_middle(p, step):.1f} {max(base, y_of(values[p])):.1f}" for p in run]
    first, last = _middle(run[0], step), _middle(run[-1], step)
    return f'<path class="p-over" d="M{first:.1f} {base:.1f}L{"L".join(points)}L{last:.1f} {base:.1f}z"/>'


def _lines(stack: WaterStack, y_of: Pixel) -> str:
    """Lines of allowed depletion and threshold with their words, kept apart."""
    parts = []
    taken = [_DEPLETION[0] + 4, _DEPLETION[1] + 4]
    for mm, line, tone, word in (
        (stack.threshold_mm, "p-thr", "t-water", "threshold"),
        (stack.allowed_mm, "p-allow", "t-act", "allowed"),
    ):
        if not np.isfinite(mm):
            continue
        y = y_of(mm * stack.per_mm)
        parts.append(f'<path class="{line}" d="M{LEFT} {y:.1f}H{RIGHT}"/>')
        at = y + 4
        while any(abs(at - other) < 14 for other in taken):
            at += 2
        taken.append(at)
        parts.append(_text(_LABEL_X, at, f"{word} {_number(mm * stack.per_mm)}", tone))
    return "".join(parts)


def _known_runs(values: FloatArray) -> list[list[int]]:
    """Positions of known values in unbroken runs."""
    known = np.flatnonzero(np.isfinite(values))
    if known.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(known) > 1) + 1
    return [[int(p) for p in run] for run in np.split(known, breaks)]


def _last_known(values: FloatArray) -> float:
    """The last known value, NaN where there is none."""
    known = values[np.isfinite(values)]
    return float(known[-1]) if known.size else float("nan")
