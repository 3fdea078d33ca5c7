"""Starts of a controller as ticks under a time axis, as SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StartsRow:
    """Starts of a day or of several days, as a log tells them.

    Parameters
    ----------
    first, days
        Position of the first day on the axis, and how many days the row covers.
    ran, bypassed, skipped
        Starts [1].
    """

    first: int
    days: int
    ran: float
    bypassed: float
    skipped: float


def start_ticks_svg(rows: Sequence[StartsRow], left: float, step: float, panel: tuple[float, float]) -> str:
    """A filled tick for a start that ran, an open one for a bypass, a cross for a skip.

    Parameters
    ----------
    rows
        Logged starts.
    left, step
        Pixel of the first day's left edge, and pixels a day [px].
    panel
        Top and bottom of the ticks [px].
    """
    low, high = panel
    parts = []
    for row in rows:
        if row.days > 1:
            parts.append(_period(row, left, step, low + 4))
            continue
        x = left + (row.first + 0.5) * step
        kinds = (
            ["ran"] * round(row.ran) + ["bypassed"] * round(row.bypassed) + ["skipped"] * round(row.skipped)
        )
        pitch = min(8.0, (high - low) / max(len(kinds), 1))
        width, height = min(step * 0.7, 7.0), min(pitch - 2.0, 6.0)
        for place, kind in enumerate(kinds):
            parts.append(_tick(kind, x, low + place * pitch, width, max(height, 1.2)))
    return "".join(parts)


def _tick(kind: str, x: float, y: float, width: float, height: float) -> str:
    """One start."""
    if kind == "skipped":
        left, right, foot = x - width / 2, x + width / 2, y + height
        cross = f"M{left:.1f} {y:.1f}L{right:.1f} {foot:.1f}M{right:.1f} {y:.1f}L{left:.1f} {foot:.1f}"
        return f'<path class="p-skip" d="{cross}"/>'
    tone = "p-run" if kind == "ran" else "p-byp"
    size = f'width="{width:.1f}" height="{height:.1f}"'
    return f'<rect class="{tone}" x="{x - width / 2:.1f}" y="{y:.1f}" {size}/>'


def _period(row: StartsRow, left: float, step: float, y: float) -> str:
    """A row of several days: a bar over its days, filled as far as its starts ran."""
    x, width = left + row.first * step + 1, row.days * step - 2
    total = row.ran + row.bypassed + row.skipped
    share = row.ran / total if total > 0 else 0.0
    words = f"{row.ran:.0f} of {total:.0f} ran" if width > 56 else ""
    return (
        f'<rect class="p-byp" x="{x:.1f}" y="{y}" width="{width:.1f}" height="8"/>'
        f'<rect class="p-run" x="{x:.1f}" y="{y}" width="{width * share:.1f}" height="8"/>'
        + (f'<text class="mid" x="{x + width / 2:.1f}" y="{y + 22:.1f}">{words}</text>' if words else "")
    )
