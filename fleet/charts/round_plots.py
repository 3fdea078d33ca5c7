"""Small plots of the weekly round as SVG; numbers only, positions as attributes."""

from __future__ import annotations

from django.utils.html import format_html
from django.utils.safestring import SafeString

WIDTH_PX = 118
_EDGE_PX = 6


def two_dots(*, now: float | None, new: float | None, most: float) -> SafeString:
    """Minutes a week as set (open) and as recommended (filled), on a line up to `most` [min]."""

    def at(value: float) -> float:
        return _EDGE_PX + (WIDTH_PX - 2 * _EDGE_PX) * min(value / max(most, 1e-9), 1.0)

    parts = format_html('<path class="p-base" d="M{} 8H{}"/>', _EDGE_PX, WIDTH_PX - _EDGE_PX)
    if now is not None and new is not None:
        parts += format_html('<path class="p-mark" d="M{} 8H{}"/>', f"{at(now):.1f}", f"{at(new):.1f}")
    if now is not None:
        parts += format_html('<circle class="pc-e" cx="{}" cy="8" r="4"/>', f"{at(now):.1f}")
    if new is not None:
        parts += format_html('<circle class="pd-n" cx="{}" cy="8" r="4"/>', f"{at(new):.1f}")
    words = f"{_word(now)} minutes a week set now, {_word(new)} recommended"
    return format_html(
        '<svg class="plot dots" viewBox="0 0 {0} 16" width="{0}" height="16" role="img" aria-label="{1}">'
        "{2}</svg>",
        WIDTH_PX,
        words,
        parts,
    )


def _word(value: float | None) -> str:
    """A number in words."""
    return "unknown" if value is None else f"{value:.0f}"
