"""Sixty days of one location as SVG on one time axis: rain from the top, ET in its band, temperature range.

Classes only, no colours and no styles; the page's style sheets give the look. No text of users goes in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from weather.calc.arrays import BoolArray, FloatArray
from weather.calc.units import c_to_fahrenheit, mm_to_inches
from weather.calc.weather_days import WeatherDays

WIDTH: Final = 600
HEIGHT: Final = 300
LEFT: Final = 40.0
RIGHT: Final = 468.0
_LABEL_X: Final = 476
_RAIN: Final = (8.0, 74.0)
_ET: Final = (92.0, 176.0)
_WARMTH: Final = (196.0, 268.0)
_BAND_SD: Final = 1.2816  # 80 % of a normal distribution
_STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class _Frame:
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

    @property
    def depth_unit(self) -> str:
        """Word of the unit of depth."""
        return "in" if self.is_us else "mm"


def sky_plot_svg(sky: WeatherDays, *, is_us: bool) -> str:
    """The stack of one location as ready SVG markup, or an empty text where no day is known.

    Parameters
    ----------
    sky
        Days of exactly one location.
    is_us
        Whether depths are shown in inches and temperatures in Fahrenheit.
    """
    if sky.location_ids.size != 1:
        raise ValueError("the plot shows exactly one location")
    known = np.isfinite(sky.reference_et_mm[:, 0]) | np.isfinite(sky.rain_mm[:, 0])
    if known.sum() < 2:
        return ""
    frame = _Frame(sky.days.tolist(), (RIGHT - LEFT) / sky.days.size, is_us)
    first, last = frame.days[0], frame.days[-1]
    words = (
        f"Rain, reference ET with its uncertainty, and temperature from {first.day} {first:%B} to {last.day} "
        f"{last:%B %Y}; filled days are hatched; the table below holds the numbers"
    )
    parts = [
        _hatching(frame, sky.is_filled[:, 0]),
        _grid(frame),
        _rain(frame, sky),
        _et(frame, sky),
        _temperature(frame, sky),
        _forecast_line(frame, sky.is_forecast[:, 0]),
    ]
    return (
        f'<svg class="plot" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img"'
        f' aria-label="{words}">{"".join(parts)}</svg>'
    )


def _text(x: float, y: float, words: str, kind: str = "") -> str:
    """A word at a place; words are ours, never a user's."""
    return f'<text x="{x:.1f}" y="{y:.1f}"{f" class={chr(34)}{kind}{chr(34)}" if kind else ""}>{words}</text>'


def _top(value: float) -> float:
    """A round number not below a value."""
    if not np.isfinite(value) or value <= 0.0:
        return 1.0
    size = 10.0 ** np.floor(np.log10(value))
    return float(next(step * size for step in _STEPS if step * size >= value * 0.999))


def _runs(known: BoolArray) -> list[list[int]]:
    """Positions of known days in unbroken runs."""
    found = np.flatnonzero(known)
    if found.size == 0:
        return []
    return [[int(p) for p in run] for run in np.split(found, np.flatnonzero(np.diff(found) > 1) + 1)]


def _hatching(frame: _Frame, is_filled: BoolArray) -> str:
    """Slanting lines over days that rest on something filled."""
    lines = []
    for position in np.flatnonzero(is_filled).tolist():
        x = LEFT + position * frame.step
        ys = np.arange(_RAIN[0], _WARMTH[1] - 6.0, 7.0)
        lines.append("".join(f"M{x:.1f} {y + 6:.1f}L{x + frame.step:.1f} {y:.1f}" for y in ys))
    return f'<path class="p-hatch" d="{"".join(lines)}"/>' if lines else ""


def _grid(frame: _Frame) -> str:
    """Lines of weeks with their days."""
    last = frame.days[-1]
    positions = [at for at, day in enumerate(frame.days) if (last - day).days % 14 == 0]
    lines = "".join(f"M{frame.middle(at):.1f} {_RAIN[0]}V{_WARMTH[1]}" for at in positions)
    words = [
        _text(frame.middle(at), HEIGHT - 10, f"{frame.days[at].day} {frame.days[at]:%b}", "mid")
        for at in positions
    ]
    return f'<path class="gr" d="{lines}"/>{"".join(words)}'


def _rain(frame: _Frame, sky: WeatherDays) -> str:
    """Bars that hang from the top; days of unknown rain carry a mark instead of a bar."""
    values = frame.depth(sky.rain_mm[:, 0])
    low, high = _RAIN
    top = _top(max(float(np.nanmax(np.nan_to_num(values))), float(frame.depth(np.array([10.0]))[0])))
    width = max(frame.step * 0.7, 1.0)
    parts = [f'<path class="ax" d="M{LEFT} {low}H{RIGHT}"/>']
    for at in np.flatnonzero(np.nan_to_num(values) > 0.0).tolist():
        height = (high - low) * values[at] / top
        x = frame.middle(at) - width / 2
        parts.append(
            f'<rect class="p-rain" x="{x:.1f}" y="{low}" width="{width:.1f}" height="{height:.1f}"/>'
        )
    unknown = np.flatnonzero(np.isnan(values)).tolist()
    crosses = "".join(
        f"M{frame.middle(at) - 2:.1f} {low + 3}l4 4m0 -4l-4 4" for at in unknown if not sky.is_forecast[at, 0]
    )
    if crosses:
        parts.append(f'<path class="p-skip" d="{crosses}"/>')
    total = float(np.nansum(values[~sky.is_forecast[:, 0]]))
    parts += [
        _text(LEFT - 6, low + 4, "0", "end"),
        _text(LEFT - 6, high + 4, f"{top:g}", "end"),
        _text(_LABEL_X, low + 12, f"Rain, {frame.depth_unit}", "lab"),
        _text(_LABEL_X, low + 28, f"{total:.{2 if frame.is_us else 0}f} measured"),
    ]
    if crosses:
        parts.append(_text(_LABEL_X, low + 44, "cross = unknown"))
    return "".join(parts)


def _line(frame: _Frame, run: list[int], y: Callable[[float], float], values: FloatArray) -> str:
    """A line through a run of days."""
    return "L".join(f"{frame.middle(at):.1f} {y(values[at]):.1f}" for at in run)


def _area(
    frame: _Frame, run: list[int], y: Callable[[float], float], lower: FloatArray, upper: FloatArray
) -> str:
    """The outline between two lines over a run of days."""
    return f"{_line(frame, run, y, upper)}L{_line(frame, run[::-1], y, lower)}z"


def _et(frame: _Frame, sky: WeatherDays) -> str:
    """ET as a line in its band of 80 %."""
    values = frame.depth(sky.reference_et_mm[:, 0])
    half = _BAND_SD * np.nan_to_num(frame.depth(sky.reference_et_sd_mm[:, 0]))
    low, high = _ET
    top = _top(float(np.nanmax(values + half))) if np.isfinite(values).any() else 1.0

    def y(value: float) -> float:
        return high - (high - low) * min(max(value, 0.0), top) / top

    parts = [f'<path class="ax" d="M{LEFT} {high}H{RIGHT}"/>']
    for run in _runs(np.isfinite(values)):
        parts.append(f'<path class="p-etf" d="M{_area(frame, run, y, values - half, values + half)}"/>')
        parts.append(f'<path class="p-et" d="M{_line(frame, run, y, values)}"/>')
    measured = values[~sky.is_forecast[:, 0] & np.isfinite(values)]
    parts += [
        _text(LEFT - 6, low + 4, f"{top:g}", "end"),
        _text(LEFT - 6, high + 4, "0", "end"),
        _text(_LABEL_X, low + 12, f"ETo, {frame.depth_unit}/day", "lab"),
        _text(_LABEL_X, low + 28, "band: 80 %"),
    ]
    if measured.size:
        parts.append(_text(_LABEL_X, low + 44, f"{measured[-1]:.{2 if frame.is_us else 1}f} at last"))
    return "".join(parts)


def _temperature(frame: _Frame, sky: WeatherDays) -> str:
    """The range of temperature of each day as an area."""
    low_c, high_c = frame.warmth(sky.tmin_c[:, 0]), frame.warmth(sky.tmax_c[:, 0])
    known = np.isfinite(low_c) & np.isfinite(high_c)
    unit = "°F" if frame.is_us else "°C"
    top_y, bottom_y = _WARMTH
    parts = [
        f'<path class="ax" d="M{LEFT} {bottom_y}H{RIGHT}"/>',
        _text(_LABEL_X, top_y + 12, f"Temperature, {unit}", "lab"),
        _text(_LABEL_X, top_y + 28, "lowest to highest"),
    ]
    if not known.any():
        return "".join(parts)
    least, most = np.floor(np.nanmin(low_c) / 5) * 5, np.ceil(np.nanmax(high_c) / 5) * 5
    reach = max(float(most - least), 5.0)

    def y(value: float) -> float:
        return bottom_y - (bottom_y - top_y) * (value - float(least)) / reach

    parts += [
        f'<path class="p-band" d="M{_area(frame, run, y, low_c, high_c)}"/>' for run in _runs(known) if run
    ]
    parts += [
        _text(LEFT - 6, top_y + 4, f"{most:g}", "end"),
        _text(LEFT - 6, bottom_y + 4, f"{least:g}", "end"),
    ]
    return "".join(parts)


def _forecast_line(frame: _Frame, is_forecast: BoolArray) -> str:
    """A line where the forecast begins."""
    ahead = np.flatnonzero(is_forecast)
    if ahead.size == 0:
        return ""
    x = LEFT + int(ahead[0]) * frame.step
    return f'<path class="p-mark" d="M{x:.1f} {_RAIN[0]}V{_WARMTH[1]}"/>' + _text(
        x + 3, _RAIN[1] + 12, "forecast"
    )
