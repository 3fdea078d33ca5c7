"""Sixty days of one location as SVG on one time axis: rain from the top, ET in its band, temperature range.

Classes only, no colours and no styles; the page's style sheets give the look. No text of users goes in.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from weather.calc.arrays import BoolArray
from weather.calc.weather_days import WeatherDays
from weather.plot_frame import (
    BAND_SD,
    LABEL_X,
    LEFT,
    RIGHT,
    Frame,
    Track,
    area,
    grid,
    hatching,
    line,
    round_top,
    runs,
    svg,
    text,
    whiskers,
)

HEIGHT: Final = 300
_RAIN: Final = (8.0, 74.0)
_ET: Final = (92.0, 176.0)
_WARMTH: Final = (196.0, 268.0)
_WHOLE: Final = (_RAIN[0], _WARMTH[1])


def sky_plot_svg(sky: WeatherDays, *, is_us: bool, tracks: Mapping[str, Track] | None = None) -> str:
    """The stack of one location as ready SVG markup, or an empty text where no day is known.

    Parameters
    ----------
    sky
        Days of exactly one location.
    is_us
        Whether depths are shown in inches and temperatures in Fahrenheit.
    tracks
        Temperatures and rain as used, with their spreads, for whiskers; None: no whiskers.
    """
    if sky.location_ids.size != 1:
        raise ValueError("the plot shows exactly one location")
    known = np.isfinite(sky.reference_et_mm[:, 0]) | np.isfinite(sky.rain_mm[:, 0])
    if known.sum() < 2:
        return ""
    frame = Frame(sky.days.tolist(), (RIGHT - LEFT) / sky.days.size, is_us)
    first, last = frame.days[0], frame.days[-1]
    words = (
        f"Rain, reference ET with its uncertainty, and temperature from {first.day} {first:%B} to {last.day} "
        f"{last:%B %Y}; filled days are hatched; the table below holds the numbers"
    )
    parts = [
        hatching(frame, sky.is_filled[:, 0], _WHOLE),
        grid(frame, _WHOLE),
        _rain(frame, sky, tracks or {}),
        _et(frame, sky),
        _temperature(frame, sky, tracks or {}),
        _forecast_line(frame, sky.is_forecast[:, 0]),
    ]
    return svg(HEIGHT, words, parts)


def _rain(frame: Frame, sky: WeatherDays, tracks: Mapping[str, Track]) -> str:
    """Bars that hang from the top; days of unknown rain carry a mark instead of a bar."""
    values = frame.depth(sky.rain_mm[:, 0])
    low, high = _RAIN
    top = round_top(max(float(np.nanmax(np.nan_to_num(values))), float(frame.depth(np.array([10.0]))[0])))
    width = max(frame.step * 0.7, 1.0)
    parts = [f'<path class="ax" d="M{LEFT} {low}H{RIGHT}"/>']
    for at in np.flatnonzero(np.nan_to_num(values) > 0.0).tolist():
        height = (high - low) * values[at] / top
        x = frame.middle(at) - width / 2
        parts.append(
            f'<rect class="p-rain" x="{x:.1f}" y="{low}" width="{width:.1f}" height="{height:.1f}"/>'
        )
    if track := tracks.get("rain_mm"):
        half = BAND_SD * frame.depth(track.spreads)
        bounds = (np.maximum(values - half, 0.0), np.minimum(values + half, top))
        wet = track.is_marked & (np.nan_to_num(values) > 0.0)
        parts.append(whiskers(frame, wet, lambda depth: low + (high - low) * depth / top, *bounds))
    unknown = np.flatnonzero(np.isnan(values)).tolist()
    crosses = "".join(
        f"M{frame.middle(at) - 2:.1f} {low + 3}l4 4m0 -4l-4 4" for at in unknown if not sky.is_forecast[at, 0]
    )
    if crosses:
        parts.append(f'<path class="p-skip" d="{crosses}"/>')
    total = float(np.nansum(values[~sky.is_forecast[:, 0]]))
    parts += [
        text(LEFT - 6, low + 4, "0", "end"),
        text(LEFT - 6, high + 4, f"{top:g}", "end"),
        text(LABEL_X, low + 12, f"Rain, {frame.depth_unit}", "lab"),
        text(LABEL_X, low + 28, f"{total:.{2 if frame.is_us else 0}f} measured"),
    ]
    if crosses:
        parts.append(text(LABEL_X, low + 44, "cross = unknown"))
    return "".join(parts)


def _et(frame: Frame, sky: WeatherDays) -> str:
    """ET as a line in its band of 80 %."""
    values = frame.depth(sky.reference_et_mm[:, 0])
    half = BAND_SD * np.nan_to_num(frame.depth(sky.reference_et_sd_mm[:, 0]))
    low, high = _ET
    top = round_top(float(np.nanmax(values + half))) if np.isfinite(values).any() else 1.0

    def y(value: float) -> float:
        return high - (high - low) * min(max(value, 0.0), top) / top

    parts = [f'<path class="ax" d="M{LEFT} {high}H{RIGHT}"/>']
    for run in runs(np.isfinite(values)):
        parts.append(f'<path class="p-etf" d="M{area(frame, run, y, values - half, values + half)}"/>')
        parts.append(f'<path class="p-et" d="M{line(frame, run, y, values)}"/>')
    measured = values[~sky.is_forecast[:, 0] & np.isfinite(values)]
    parts += [
        text(LEFT - 6, low + 4, f"{top:g}", "end"),
        text(LEFT - 6, high + 4, "0", "end"),
        text(LABEL_X, low + 12, f"ETo, {frame.depth_unit}/day", "lab"),
        text(LABEL_X, low + 28, "band: 80 %"),
    ]
    if measured.size:
        parts.append(text(LABEL_X, low + 44, f"{measured[-1]:.{2 if frame.is_us else 1}f} at last"))
    return "".join(parts)


def _temperature(frame: Frame, sky: WeatherDays, tracks: Mapping[str, Track]) -> str:
    """The range of temperature of each day as an area."""
    low_c, high_c = (
        frame.warmth(tracks[name].values if name in tracks else raw[:, 0])
        for name, raw in (("tmin_c", sky.tmin_c), ("tmax_c", sky.tmax_c))
    )
    known = np.isfinite(low_c) & np.isfinite(high_c)
    unit = "°F" if frame.is_us else "°C"
    top_y, bottom_y = _WARMTH
    parts = [
        f'<path class="ax" d="M{LEFT} {bottom_y}H{RIGHT}"/>',
        text(LABEL_X, top_y + 12, f"Temperature, {unit}", "lab"),
        text(LABEL_X, top_y + 28, "lowest to highest"),
    ]
    if not known.any():
        return "".join(parts)
    reaches = {name: BAND_SD * frame.degrees(track.spreads) for name, track in tracks.items()}
    ends = [low_c, high_c]
    for at, (name, sign) in enumerate((("tmin_c", -1.0), ("tmax_c", 1.0))):
        if name in tracks:
            ends[at] = ends[at] + sign * np.where(tracks[name].is_marked, np.nan_to_num(reaches[name]), 0.0)
    least, most = np.floor(np.nanmin(ends[0]) / 5) * 5, np.ceil(np.nanmax(ends[1]) / 5) * 5
    reach = max(float(most - least), 5.0)

    def y(value: float) -> float:
        return bottom_y - (bottom_y - top_y) * (value - float(least)) / reach

    parts += [
        f'<path class="p-band" d="M{area(frame, run, y, low_c, high_c)}"/>' for run in runs(known) if run
    ]
    parts += [
        whiskers(frame, tracks[name].is_marked, y, end - reaches[name], end + reaches[name])
        for name, end in (("tmin_c", low_c), ("tmax_c", high_c))
        if name in tracks
    ]
    parts += [
        text(LEFT - 6, top_y + 4, f"{most:g}", "end"),
        text(LEFT - 6, bottom_y + 4, f"{least:g}", "end"),
    ]
    return "".join(parts)


def _forecast_line(frame: Frame, is_forecast: BoolArray) -> str:
    """A line where the forecast begins."""
    ahead = np.flatnonzero(is_forecast)
    if ahead.size == 0:
        return ""
    x = LEFT + int(ahead[0]) * frame.step
    return f'<path class="p-mark" d="M{x:.1f} {_RAIN[0]}V{_WARMTH[1]}"/>' + text(
        x + 3, _RAIN[1] + 12, "forecast"
    )
