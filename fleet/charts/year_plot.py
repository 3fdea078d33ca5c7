"""The year of a program as SVG: bars of minutes a week by month, the adjusted peak program as marks."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

WIDTH_PX = 760
HEIGHT_PX = 216
_LEFT_PX = 8
_TOP_PX = 8
_BASE_PX = 178


def year_bars(months: Sequence[tuple[str, float, float | None]]) -> SafeString:
    """Bars of the months' own best programs, a mark where the adjusted peak program stands [min/week].

    Parameters
    ----------
    months
        Name, minutes of the best program, and of the adjusted one (None: no mark) [min/week].
    """
    most = max([value for _, best, other in months for value in (best, other or 0.0)], default=0.0)
    step = (WIDTH_PX - 2 * _LEFT_PX) / max(len(months), 1)
    parts = []
    for at, (name, best, other) in enumerate(months):
        left = _LEFT_PX + at * step
        middle = f"{left + step / 2:.1f}"
        top = _y(best, most)
        parts.append(
            format_html(
                '<rect class="blk n" x="{}" y="{}" width="{}" height="{}"/>'
                '<text class="mid" x="{}" y="{}">{}</text><text class="mid lab" x="{}" y="{}">{}</text>',
                f"{left + step * 0.2:.1f}",
                f"{top:.1f}",
                f"{step * 0.6:.1f}",
                f"{_BASE_PX - top:.1f}",
                middle,
                _BASE_PX + 32,
                f"{best:.0f}",
                middle,
                _BASE_PX + 18,
                name,
            )
        )
        if other is not None:
            parts.append(
                format_html(
                    '<path class="yearmark" d="M{} {}h{}"/>',
                    f"{left + step * 0.1:.1f}",
                    f"{_y(other, most):.1f}",
                    f"{step * 0.8:.1f}",
                )
            )
    words = ", ".join(f"{name} {best:.0f}" for name, best, _ in months)
    return format_html(
        '<svg class="plot year" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="img" aria-label="{2}">'
        '{3}<path class="ax" d="M{4} {5}H{6}"/></svg>',
        WIDTH_PX,
        HEIGHT_PX,
        f"Minutes a week by month: {words}",
        format_html_join("", "{}", ((part,) for part in parts)),
        _LEFT_PX,
        _BASE_PX,
        WIDTH_PX - _LEFT_PX,
    )


def _y(value: float, most: float) -> float:
    """Height of a value on the plot [px]."""
    return _BASE_PX - (_BASE_PX - _TOP_PX) * (value / most if most > 0 else 0.0)
