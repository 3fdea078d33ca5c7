"""The map of the water page as SVG: a spike for every garden, up where more was used than needed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString


@dataclass(frozen=True, slots=True)
class Spike:
    """A garden on the map: place [deg], and use over need in any unit; None where not told."""

    longitude: float
    latitude: float
    over: float | None
    code: str


def spike_map(spikes: Sequence[Spike], *, width: int = 524, height: int = 262) -> SafeString:
    """Gardens where they lie, a spike up for more than need, down for less, a diamond for not told."""
    if not spikes:
        return SafeString("")
    squeeze = math.cos(math.radians(sum(spike.latitude for spike in spikes) / len(spikes)))
    east = [spike.longitude * squeeze for spike in spikes]
    north = [spike.latitude for spike in spikes]
    wide, high = max(east) - min(east) or 1e-4, max(north) - min(north) or 1e-4
    scale = min((width - 40) / wide, (height - 90) / high)
    left, top = (width - scale * wide) / 2, 60 + (height - 90 - scale * high) / 2
    tallest = max((abs(spike.over) for spike in spikes if spike.over is not None), default=1.0) or 1.0
    parts, named = [], sorted((s for s in spikes if s.over is not None), key=lambda s: -(s.over or 0.0))[:3]
    for spike in sorted(spikes, key=lambda spike: -spike.latitude):
        x = left + scale * (spike.longitude * squeeze - min(east))
        y = top + scale * (max(north) - spike.latitude)
        parts.append(_spike(x, y, None if spike.over is None else spike.over / tallest))
        if spike in named and spike.over is not None and spike.over > 0:
            tip = y - 52 * spike.over / tallest - 4
            parts.append(
                format_html(
                    '<text class="mid lab" x="{}" y="{}">{}</text>', f"{x:.1f}", f"{tip:.1f}", spike.code
                )
            )
    return format_html(
        '<svg class="plot canvas" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="img"'
        ' aria-label="{2}">{3}</svg>',
        width,
        height,
        f"{len(spikes)} gardens by place; the list below holds the same",
        format_html_join("", "{}", ((part,) for part in parts)),
    )


def _spike(x: float, y: float, share: float | None) -> SafeString:
    """One garden's mark."""
    if share is None:
        path = f"M{x:.1f} {y - 4:.1f}L{x + 4:.1f} {y:.1f}L{x:.1f} {y + 4:.1f}L{x - 4:.1f} {y:.1f}z"
        return format_html('<path class="spike-few" d="{}"/>', path)
    tip = y - 52 * share
    name = "spike-up" if share >= 0 else "spike-dn"
    return format_html(
        '<path class="{}" d="M{} {}L{} {}L{} {}z"/>',
        name,
        f"{x - 3:.1f}",
        f"{y:.1f}",
        f"{x:.1f}",
        f"{tip:.1f}",
        f"{x + 3:.1f}",
        f"{y:.1f}",
    )
