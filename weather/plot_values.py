"""Sixty days of a location's dew point, wind and sun as SVG, each in its band, with whiskers where put in."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from weather.calc.arrays import FloatArray
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
    runs,
    svg,
    text,
    whiskers,
)

HEIGHT: Final = 278
_PANELS: Final[Mapping[str, tuple[float, float]]] = {
    "tdew_c": (8.0, 82.0),
    "wind_m_s": (98.0, 162.0),
    "solar_mj_m2": (178.0, 246.0),
}
_WHOLE: Final = (8.0, 246.0)
_ROUND: Final = 5.0


@dataclass(frozen=True, slots=True)
class _Panel:
    """One value in the reader's unit: words, values, and half of its band."""

    words: str
    values: FloatArray
    half: FloatArray
    track: Track


def values_plot_svg(days: Sequence[date], tracks: Mapping[str, Track], *, is_us: bool) -> str:
    """The stack of one location's dew point, wind and sun, or an empty text where fewer than two are known.

    Parameters
    ----------
    days
        Days of the plot.
    tracks
        Values as used with their spreads, by column.
    is_us
        Whether temperatures are shown in Fahrenheit and winds in miles an hour.
    """
    if max(np.isfinite(tracks[name].values).sum() for name in _PANELS) < 2:
        return ""
    frame = Frame(list(days), (RIGHT - LEFT) / len(days), is_us)
    marked = np.any([tracks[name].is_marked for name in _PANELS], axis=0)
    first, last = days[0], days[-1]
    words = (
        f"Dew point, wind and solar radiation with their spreads from {first.day} {first:%B} to {last.day} "
        f"{last:%B %Y}; days that were put in or foretold are hatched; the table below holds the numbers"
    )
    dew, wind, sun = (tracks[name] for name in _PANELS)
    panels = [
        _Panel(
            f"Dew point, {'°F' if is_us else '°C'}", frame.warmth(dew.values), frame.degrees(dew.spreads), dew
        ),
        _Panel(
            f"Wind, {'mph' if is_us else 'm/s'}", frame.speed(wind.values), frame.speed(wind.spreads), wind
        ),
        _Panel("Sun, MJ/m² a day", sun.values, sun.spreads, sun),
    ]
    parts = [hatching(frame, marked, _WHOLE), grid(frame, _WHOLE)]
    parts += [_drawn(frame, panel, span) for panel, span in zip(panels, _PANELS.values(), strict=True)]
    return svg(HEIGHT, words, parts)


def _drawn(frame: Frame, panel: _Panel, span: tuple[float, float]) -> str:
    """One value as a line in its band of 80 %, with whiskers where it was put in or foretold."""
    top, bottom = span
    lower, upper = (panel.values + sign * BAND_SD * panel.half for sign in (-1.0, 1.0))
    parts = [f'<path class="ax" d="M{LEFT} {bottom}H{RIGHT}"/>', text(LABEL_X, top + 12, panel.words, "lab")]
    known = np.isfinite(panel.values)
    if not known.any():
        return "".join([*parts, text(LABEL_X, top + 28, "unknown")])
    y, least, most = _scale(np.where(np.isnan(lower), panel.values, lower), upper, panel.values, span)
    banded = known & np.isfinite(panel.half)
    parts += [f'<path class="p-etf" d="M{area(frame, run, y, lower, upper)}"/>' for run in runs(banded)]
    parts += [f'<path class="p-et" d="M{line(frame, run, y, panel.values)}"/>' for run in runs(known)]
    parts += [
        whiskers(frame, panel.track.is_marked, y, lower, upper),
        text(LEFT - 6, top + 4, f"{most:g}", "end"),
        text(LEFT - 6, bottom + 4, f"{least:g}", "end"),
        text(LABEL_X, top + 28, "band: 80 %"),
    ]
    return "".join(parts)


def _scale(
    lower: FloatArray, upper: FloatArray, values: FloatArray, span: tuple[float, float]
) -> tuple[Callable[[float], float], float, float]:
    """Way from values to pixels, and the round ends of the axis; what cannot be negative begins at zero."""
    top, bottom = span
    low = float(np.nanmin(lower))
    least = 0.0 if np.nanmin(values) >= 0.0 else float(np.floor(low / _ROUND) * _ROUND)
    most = float(np.ceil(max(float(np.nanmax(np.fmax(upper, values))), least + 1.0) / _ROUND) * _ROUND)

    def y(value: float) -> float:
        return bottom - (bottom - top) * (min(max(value, least), most) - least) / (most - least)

    return y, least, most
