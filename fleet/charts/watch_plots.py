"""Plots of the sensor watch as SVG: probability of each cause through time; bypasses as a bar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from fleet.calc.watch.settings import CAUSES

CLASSES: Final = {
    "stuck_wet": "pc-1",
    "stuck_dry": "pc-2",
    "reads_wet": "pc-3",
    "reads_dry": "pc-4",
    "erratic": "pc-5",
}
_LEFT, _RIGHT, _TOP, _BOTTOM, _WIDTH, _HEIGHT = 44, 112, 8, 22, 580, 150


def cause_plot(*, days: Sequence[date], shares: Mapping[str, Sequence[float | None]]) -> SafeString:
    """Probability of each cause as stacked areas over the days; the words stand at the right."""
    if len(days) < 2:
        return mark_safe("")
    width, height = _WIDTH - _LEFT - _RIGHT, _HEIGHT - _TOP - _BOTTOM
    step = width / (len(days) - 1)
    floor = [0.0] * len(days)
    areas = []
    labels = []
    for cause in CAUSES:
        values = [float(value or 0.0) for value in shares.get(cause, [0.0] * len(days))]
        top = [low + value for low, value in zip(floor, values, strict=True)]
        upper = " ".join(f"{_LEFT + at * step:.1f},{_y(value, height):.1f}" for at, value in enumerate(top))
        lower = " ".join(
            f"{_LEFT + at * step:.1f},{_y(value, height):.1f}"
            for at, value in reversed(list(enumerate(floor)))
        )
        areas.append((CLASSES[cause], f"{upper} {lower}"))
        if values[-1] >= 0.06:
            middle = _y((floor[-1] + top[-1]) / 2, height)
            labels.append(
                (_LEFT + width + 8, f"{middle + 4:.1f}", f"{cause.replace('_', ' ')} {values[-1] * 100:.0f}")
            )
        floor = top
    ticks = [
        (f"{_LEFT + at * step:.1f}", _HEIGHT - 6, f"{days[at].day} {days[at]:%b}")
        for at in range(0, len(days), max(len(days) // 5, 1))
    ]
    return format_html(
        '<svg class="plot" viewBox="0 0 {} {}" width="{}" height="{}" role="img" aria-label="{}">'
        '<rect class="pc-0" x="{}" y="{}" width="{}" height="{}"/>{}{}{}'
        '<text x="{}" y="{}" text-anchor="end">100</text>'
        '<text x="{}" y="{}" text-anchor="end">0</text></svg>',
        _WIDTH, _HEIGHT, _WIDTH, _HEIGHT,
        "Probability of each cause in percent, day by day",
        _LEFT, _TOP, width, height,
        format_html_join("", '<polygon class="{}" points="{}"/>', areas),
        format_html_join("", '<text x="{}" y="{}">{}</text>', labels),
        format_html_join("", '<text x="{}" y="{}" text-anchor="middle">{}</text>', ticks),
        _LEFT - 6, _TOP + 10, _LEFT - 6, _TOP + height,
    )  # fmt: skip


def _y(share: float, height: float) -> float:
    """Where a share stands [px]."""
    return _TOP + (1 - min(max(share, 0.0), 1.0)) * height


def rate_bar(*, observed: float | None, expected: float | None) -> SafeString:
    """Observed share of bypasses as a bar, the expected one as a mark."""
    if observed is None or expected is None:
        return mark_safe("")
    return format_html(
        '<svg class="plot rate" viewBox="0 0 96 14" width="96" height="14" role="img" aria-label="{}">'
        '<path class="p-base" d="M2 7H94"/><rect class="p-run" x="2" y="3" width="{}" height="8"/>'
        '<path class="p-mark2" d="M{} 0V14"/></svg>',
        f"{observed * 100:.0f} percent bypassed, {expected * 100:.0f} expected",
        f"{observed * 92:.1f}",
        f"{2 + expected * 92:.1f}",
    )
