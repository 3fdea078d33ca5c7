"""A week of permitted hours as SVG: a row a day, the clock from left to right; positions as attributes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from sites.calc.rules.hours import Span
from sites.calc.rules.stages import MINUTES_A_DAY
from sites.calc.rules.week import RuleDay, RuleWeek
from sites.calc.rules.words import clock_24, spans_words

_TOP_PX: Final = 20
_EVERY_MIN: Final = 180


def week_grid(
    week: RuleWeek, *, width_px: int = 560, row_px: int = 24, is_12_hour: bool = False
) -> SafeString:
    """Open hours of a week's days; hours that the clock skips are crossed out, doubled ones marked.

    Parameters
    ----------
    week
        The days.
    width_px, row_px
        Width of the drawing and height of a day [px].
    is_12_hour
        Whether the axis is written in the 12-hour clock.
    """
    left, right = 62, 12
    scale = (width_px - left - right) / MINUTES_A_DAY
    height = _TOP_PX + row_px * len(week.days) + 4
    parts = [*_axis(left, scale, height, is_12_hour)]
    for number, day in enumerate(week.days):
        parts.extend(_day(day, left, _TOP_PX + row_px * number, row_px, scale))
    words = "; ".join(f"{day.day:%a} {day.day.day}: {_spoken(day)}" for day in week.days)
    return format_html(
        '<svg class="plot weekgrid" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="img" '
        'aria-label="Permitted hours. {2}">{3}</svg>',
        width_px,
        height,
        words,
        format_html_join("", "{}", ((part,) for part in parts)),
    )


def _axis(left: int, scale: float, height: int, is_12_hour: bool) -> Iterator[SafeString]:
    """Grid lines and clock times."""
    every = _EVERY_MIN if scale * _EVERY_MIN >= 34 else 2 * _EVERY_MIN
    for minute in range(0, MINUTES_A_DAY + 1, every):
        x = f"{left + minute * scale:.1f}"
        hour = minute // 60
        word = f"{(hour + 11) % 12 + 1} {'am' if hour % 24 < 12 else 'pm'}" if is_12_hour else f"{hour}"
        yield format_html('<path class="gr" d="M{} {}V{}"/>', x, _TOP_PX - 4, height - 2)
        yield format_html('<text class="mid" x="{}" y="12">{}</text>', x, word)


def _day(day: RuleDay, left: int, top: int, row: int, scale: float) -> Iterator[SafeString]:
    """One day: its name, its track, its open hours, what the clock does to it."""
    yield format_html(
        '<text class="end" x="{}" y="{}">{}</text>',
        left - 8,
        top + row / 2 + 4,
        f"{day.day:%a} {day.day.day}",
    )
    yield _bar("wtrack", (0, MINUTES_A_DAY), left, top + row / 2 - 1, 2, scale)
    for span in day.spans:
        yield _bar("wopen", span, left, top + 3, row - 6, scale)
    for span in day.skipped:
        yield _bar("wskip", span, left, top + 1, row - 2, scale)
        a, b = left + span[0] * scale, left + span[1] * scale
        yield format_html(
            '<path class="wcross" d="M{0} {2}L{1} {3}M{0} {3}L{1} {2}"/>',
            f"{a:.1f}",
            f"{b:.1f}",
            top + 1,
            top + row - 1,
        )
    for span in day.twice:
        yield _bar("wtwice", span, left, top + 1, row - 2, scale)


def _bar(kind: str, span: Span, left: int, top: float, height: float, scale: float) -> SafeString:
    """A rectangle over some hours."""
    return format_html(
        '<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>',
        kind,
        f"{left + span[0] * scale:.1f}",
        f"{top:.1f}",
        f"{(span[1] - span[0]) * scale:.1f}",
        f"{height:.1f}",
    )


def _spoken(day: RuleDay) -> str:
    """A day for those who hear the page."""
    words = spans_words(day.spans, clock_24) if day.spans else "no hour"
    if day.skipped:
        words += f", the clock skips {spans_words(day.skipped)}"
    if day.twice:
        words += f", the clock shows {spans_words(day.twice)} twice"
    return words
