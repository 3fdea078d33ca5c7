"""Plots of the water pages as SVG: numbers only, positions as attributes, colours by class."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

WIDTH, HEIGHT = 700, 286
_LEFT, _RIGHT, _TOP, _BOTTOM = 46, 582, 24, 262


@dataclass(frozen=True, slots=True)
class MonthPoint:
    """One month of the plot in the reader's unit; None where not told."""

    month: date
    used: float | None
    need: float | None
    need_low: float | None
    need_high: float | None
    expected: float | None
    expected_low: float | None
    expected_high: float | None


@dataclass(frozen=True, slots=True)
class IntervalRow:
    """A labelled interval in the reader's unit."""

    word: str
    count: int
    value: float
    low: float
    high: float


def month_plot(points: Sequence[MonthPoint], *, unit: str) -> SafeString:
    """Used, needed and expected use by month, with bands."""
    if not points:
        return SafeString("")
    numbers = [
        value
        for point in points
        for value in (point.used, point.need_high, point.expected_high)
        if value is not None
    ]
    top = max([*numbers, 1e-9])
    step = nice_step(top / 4)
    scale = step * math.ceil(top / step)

    def x(place: int) -> float:
        return _LEFT + (_RIGHT - _LEFT) * (place + 0.5) / len(points)

    def y(value: float) -> float:
        return _BOTTOM - (_BOTTOM - _TOP) * max(value, 0.0) / scale

    parts = [_grid(scale, step, y)]
    parts.append(_band([(point.expected_low, point.expected_high) for point in points], x, y, "p-baseb"))
    parts.append(_band([(point.need_low, point.need_high) for point in points], x, y, "p-needb"))
    parts.append(_line([point.expected for point in points], x, y, "p-base"))
    parts.append(_line([point.need for point in points], x, y, "p-need"))
    parts.append(_line([point.used for point in points], x, y, "p-used"))
    parts.append(_months([point.month for point in points], x))
    parts.append(_end_labels(points[-1], y))
    return format_html(
        '<svg class="plot" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="img"'
        ' aria-label="{2}">{3}</svg>',
        WIDTH,
        HEIGHT + 10,
        f"Water used, needed and expected without sensors, {unit} a month, {points[0].month:%B %Y} to "
        f"{points[-1].month:%B %Y}; the table below holds the figures",
        format_html_join("", "{}", ((part,) for part in parts)),
    )


def nice_step(rough: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(max(rough, 1e-9)))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= rough * 0.999)


def _grid(scale: float, step: float, y: Callable[[float], float]) -> SafeString:
    """Lines across with their values."""
    lines = [k * step for k in range(round(scale / step) + 1)]
    return format_html_join(
        "",
        '<path class="{}" d="M{} {}H{}"/><text class="end" x="{}" y="{}">{}</text>',
        (
            (
                "ax" if value == 0 else "gr",
                _LEFT,
                f"{y(value):.1f}",
                _RIGHT,
                _LEFT - 6,
                f"{y(value) + 4:.1f}",
                _figure(value),
            )
            for value in lines
        ),
    )


def _figure(value: float) -> str:
    """A number for an axis, grouped by thin spaces."""
    digits = 0 if value == int(value) or abs(value) >= 100 else 1
    return f"{value:,.{digits}f}".replace(",", "\u202f").replace("-", "\u2212")


def _runs(present: Sequence[bool]) -> list[list[int]]:
    """Places that follow each other without a gap."""
    runs: list[list[int]] = []
    for place, there in enumerate(present):
        if not there:
            continue
        if runs and runs[-1][-1] == place - 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    return runs


def _band(
    bounds: Sequence[tuple[float | None, float | None]],
    x: Callable[[int], float],
    y: Callable[[float], float],
    name: str,
) -> SafeString:
    """An area between two lines, broken where either is not told."""
    paths = []
    for run in _runs([low is not None and high is not None for low, high in bounds]):
        up = [f"{x(k):.1f} {y(bounds[k][1] or 0.0):.1f}" for k in run]
        down = [f"{x(k):.1f} {y(bounds[k][0] or 0.0):.1f}" for k in reversed(run)]
        paths.append("M" + "L".join([*up, *down]) + "z")
    return format_html_join("", '<path class="{}" d="{}"/>', ((name, path) for path in paths))


def _line(
    values: Sequence[float | None], x: Callable[[int], float], y: Callable[[float], float], name: str
) -> SafeString:
    """A line, broken where a value is not told; a lone value is a dot."""
    found = SafeString("")
    for run in _runs([value is not None for value in values]):
        at = [(x(k), y(values[k] or 0.0)) for k in run]
        found += format_html(
            '<path class="{}" d="{}"/>', name, "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in at)
        )
        if name == "p-used":
            found += format_html_join(
                "", '<circle class="dot" cx="{}" cy="{}" r="2.4"/>', ((f"{a:.1f}", f"{b:.1f}") for a, b in at)
            )
    return found


def _months(months: Sequence[date], x: Callable[[int], float]) -> SafeString:
    """Names of months, thinned, with the year under each January and the first."""
    every = max(1, math.ceil(len(months) / 14))
    shown = [(k, month) for k, month in enumerate(months) if k % every == 0]
    names = format_html_join(
        "",
        '<text class="mid" x="{}" y="277">{}</text>',
        ((f"{x(k):.1f}", f"{month:%b}") for k, month in shown),
    )
    years = {month.year: k for k, month in reversed(list(enumerate(months)))}
    return names + format_html_join(
        "", '<text class="mid" x="{}" y="292">{}</text>', ((f"{x(k):.1f}", year) for year, k in years.items())
    )


def _end_labels(last: MonthPoint, y: Callable[[float], float]) -> SafeString:
    """Names at the right end, moved apart so that they can be read."""
    wanted = [
        (y(value), name, f"{word} {_figure(round(value, 1))}")
        for value, name, word in (
            (last.expected, "t-et", "expected"),
            (last.used, "lab", "used"),
            (last.need, "t-water", "needed"),
        )
        if value is not None
    ]
    placed: list[tuple[float, str, str]] = []
    for at, name, text in sorted(wanted):
        low = placed[-1][0] + 14 if placed else _TOP
        placed.append((max(at + 4, low), name, text))
    return format_html_join(
        "",
        '<text class="{}" x="590" y="{}">{}</text>',
        ((name, f"{at:.1f}", text) for at, name, text in placed),
    )


def bar(value: float, *, most: float, text: str) -> SafeString:
    """A bar with its value at the end; below zero in the colour of less."""
    width = 110.0 * min(abs(value) / max(most, 1e-9), 1.0)
    return format_html(
        '<svg class="plot" viewBox="0 0 170 14" width="170" height="14" aria-hidden="true">'
        '<rect class="hb {}" x="0" y="2" width="{}" height="10"/>'
        '<text class="lab" x="{}" y="11">{}</text></svg>',
        "over" if value > 0 else "",
        f"{width:.1f}",
        f"{width + 5:.1f}",
        text,
    )


def interval_plot(rows: Sequence[IntervalRow], *, unit: str) -> SafeString:
    """Savings with their intervals, one line each."""
    if not rows:
        return SafeString("")
    low, high = min(0.0, *(row.low for row in rows)), max(0.0, *(row.high for row in rows))
    step = nice_step((high - low) / 4 or 1.0)
    low, high = step * math.floor(low / step), step * math.ceil(high / step)

    def x(value: float) -> float:
        return 172 + 190 * (value - low) / (high - low or 1.0)

    height = 19 * len(rows)
    parts = [
        format_html(
            '<path class="{}" d="M{} 0V{}"/><text class="mid" x="{}" y="{}">{}</text>',
            "ax" if abs(value) < step / 2 else "gr",
            f"{x(value):.1f}",
            height + 4,
            f"{x(value):.1f}",
            height + 18,
            _figure(value),
        )
        for value in (low + k * step for k in range(round((high - low) / step) + 1))
    ]
    for place, row in enumerate(rows):
        at = 19 * place + 10
        parts.append(
            format_html(
                '<text x="0" y="{0}">{1}</text><text class="end" x="150" y="{0}">{2}</text>'
                '<path class="rng" d="M{3} {4}H{5}M{3} {6}v8M{5} {6}v8"/>'
                '<circle class="dot" cx="{7}" cy="{4}" r="4"/>'
                '<text class="end lab" x="524" y="{0}">{8}</text>',
                at + 4,
                row.word,
                row.count,
                f"{x(row.low):.1f}",
                at,
                f"{x(row.high):.1f}",
                at - 4,
                f"{x(row.value):.1f}",
                f"{_figure(round(row.value, 1))} "
                f"({_figure(round(row.low, 1))} to {_figure(round(row.high, 1))})",
            )
        )
    return format_html(
        '<svg class="plot" viewBox="0 0 524 {0}" width="524" height="{0}" role="img"'
        ' aria-label="{1}">{2}</svg>',
        height + 24,
        f"Saved water with 90 percent intervals, {unit}",
        format_html_join("", "{}", ((part,) for part in parts)),
    )
