"""The map of the water page as SVG: a spike for every garden, up where more was used than needed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

TALLEST_PX: Final = 52
# Used over need, or need over used, of a spike of full height; by doublings, so that half of it is twice.
FULL_RATIO: Final = 4.0
NAMED: Final = 3
# Above this many gardens those of one small square share a spike.
MOST: Final = 1500
SQUARE_PX: Final = 7


Numbers = np.ndarray[tuple[int], np.dtype[np.float64]]


@dataclass(frozen=True, slots=True)
class Spikes:
    """Gardens on the map: places [deg], used and needed in one unit, NaN where not told, and codes."""

    longitude: Numbers
    latitude: Numbers
    used: Numbers
    need: Numbers
    codes: np.ndarray[tuple[int], np.dtype[np.object_]]


def spike_map(spikes: Spikes, *, is_ratio: bool, width: int = 524, height: int = 284) -> SafeString:
    """Gardens where they lie, a spike up for more than need, down for less, a diamond for not told.

    Heights are doublings of used over need, or the difference of both against the largest. Of a large book
    the gardens of each small square are one spike: what they used and what they needed added up.
    """
    count = spikes.used.size
    if not count:
        return SafeString("")
    x, y = _places(spikes, width, height)
    used, need, names = spikes.used, spikes.need, spikes.codes.tolist()
    together = count > MOST
    if together:
        x, y, used, need, names = _squares(x, y, used, need)
    share = _doublings(used, need) if is_ratio else _differences(used, need)
    marks = "".join(_mark(*one) for one in sorted(zip(x, y, share, strict=True), key=lambda one: one[1]))
    most = [n for n in np.argsort(-np.nan_to_num(share), kind="stable")[:NAMED] if share[n] > 0 and names[n]]
    labels = format_html_join(
        "",
        '<text class="mid lab" x="{}" y="{}">{}</text>',
        ((f"{x[n]:.1f}", f"{y[n] - TALLEST_PX * share[n] - 4:.1f}", names[n]) for n in most),
    )
    words = " in squares, each square one spike" if together else " by place"
    return format_html(
        '<svg class="plot canvas" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="img"'
        ' aria-label="{2}">{3}{4}</svg>',
        width,
        height,
        f"{count} gardens{words}; the list below holds the same",
        mark_safe(marks),  # noqa: S308 - numbers only, made in `_mark`
        labels,
    )


def _places(spikes: Spikes, width: int, height: int) -> tuple[Numbers, Numbers]:
    """Where each garden stands in the drawing [px]."""
    north = spikes.latitude
    east = spikes.longitude * math.cos(math.radians(float(north.mean())))
    wide, high = np.ptp(east) or 1e-4, np.ptp(north) or 1e-4
    # Room for a spike above the northernmost garden and its code, and below the southernmost.
    room = height - 2 * TALLEST_PX - 14
    scale = min((width - 40) / wide, room / high)
    left, top = (width - scale * wide) / 2, TALLEST_PX + 11 + (room - scale * high) / 2
    return left + scale * (east - east.min()), top + scale * (north.max() - north)


def _doublings(used: Numbers, need: Numbers) -> Numbers:
    """Height by ratio, 1 at `FULL_RATIO` or more; where nothing was needed, NaN."""
    told = (need > 0) & ~np.isnan(used)
    ratio = np.divide(used, need, out=np.full(used.shape, np.nan), where=told)
    clipped = np.clip(ratio, 1 / FULL_RATIO, FULL_RATIO)
    return np.asarray(np.log2(clipped) / math.log2(FULL_RATIO))


def _differences(used: Numbers, need: Numbers) -> Numbers:
    """Height by volume, 1 at the largest difference."""
    over = used - need
    return np.asarray(over / (float(np.nanmax(np.abs(over), initial=0.0)) or 1.0))


def _squares(
    x: Numbers, y: Numbers, used: Numbers, need: Numbers
) -> tuple[Numbers, Numbers, Numbers, Numbers, list[str]]:
    """Gardens of each square as one: its middle, the sums of what is told; NaN where nothing is."""
    column, row = np.floor(x / SQUARE_PX).astype(np.int64), np.floor(y / SQUARE_PX).astype(np.int64)
    keys, where = np.unique(row * 100_000 + column, return_inverse=True)
    told = ~np.isnan(used - need)
    nothing = np.bincount(where, weights=told) == 0
    sums = [np.bincount(where, weights=np.where(told, values, 0.0)) for values in (used, need)]
    used, need = (np.where(nothing, np.nan, one) for one in sums)
    middle_x = (keys % 100_000 + 0.5) * SQUARE_PX
    middle_y = (keys // 100_000 + 0.5) * SQUARE_PX
    return middle_x, middle_y, used, need, [""] * keys.size


def _mark(x: float, y: float, share: float) -> str:
    """One mark as SVG; numbers only."""
    if math.isnan(share):
        path = f"M{x:.1f} {y - 4:.1f}L{x + 4:.1f} {y:.1f}L{x:.1f} {y + 4:.1f}L{x - 4:.1f} {y:.1f}z"
        return f'<path class="spike-few" d="{path}"/>'
    name = "spike-up" if share >= 0 else "spike-dn"
    tip = y - TALLEST_PX * share
    return f'<path class="{name}" d="M{x - 3:.1f} {y:.1f}L{x:.1f} {tip:.1f}L{x + 3:.1f} {y:.1f}z"/>'
