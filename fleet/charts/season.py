"""Plots of the season page as SVG: frost dates of locations through the year, and what is due by week."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.selectors.visits.season_page import DueWeek, LocationRow, Spread

WIDTH = 1000
_LEFT, _RIGHT, _TOP, _ROW = 170, 985, 26, 34


def frost_strip(rows: Sequence[LocationRow], *, today: date) -> SafeString:
    """For each location the tenths of its last and first freezes, with start-up and winterization days."""
    known = [row for row in rows if row.season is not None and row.season.seasons]
    numbers = [number for row in known for number in _numbers(row)]
    if not numbers:
        return SafeString("")
    low, high = min(numbers) - 12, max(numbers) + 12
    base = date(today.year, 1, 1)

    def x(number: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * (number - low) / (high - low)

    height = _TOP + _ROW * len(known) + 10
    parts = [_month_grid(low, high, base, x, height)]
    parts += [_location(row, _TOP + _ROW * place, x) for place, row in enumerate(known)]
    at = next((n for n in ((today - base).days + 1 + k for k in (0, 365, -365)) if low <= n <= high), None)
    if at is not None:
        parts.append(
            format_html(
                '<path class="p-mark" d="M{0} {1}V{2}"/><text class="mid" x="{0}" y="{3}">today</text>',
                f"{x(at):.1f}",
                _TOP - 4,
                height - 6,
                height + 8,
            )
        )
    return format_html(
        '<svg class="plot" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="img"'
        ' aria-label="{2}">{3}</svg>',
        WIDTH,
        height + 14,
        "Last freezes of spring and first freezes of autumn by location; the table below holds the dates",
        format_html_join("", "{}", ((part,) for part in parts)),
    )


def _numbers(row: LocationRow) -> list[float]:
    """Every day of the year that a row draws."""
    spreads = (row.light_spring, row.light_autumn, row.hard_spring, row.hard_autumn)
    found = [value for one in spreads for value in (one.early, one.middle, one.late) if value is not None]
    if row.season is not None:
        dates = (row.season.start_up_from, row.season.winterize_by, row.season.buried_by)
        found += [float(value) for value in dates if value is not None]
    return found


def _month_grid(low: float, high: float, base: date, x: Callable[[float], float], height: int) -> SafeString:
    """A line at the first of each month, with its name."""
    lines = []
    month = (base + timedelta(days=low - 1)).replace(day=1)
    while True:
        month = (month + timedelta(days=32)).replace(day=1)
        number = (month - base).days + 1
        if number > high:
            break
        lines.append((f"{x(number):.1f}", _TOP - 6, height - 6, f"{month:%b}", _TOP - 12))
    return format_html_join(
        "", '<path class="gr" d="M{0} {1}V{2}"/><text class="mid" x="{0}" y="{4}">{3}</text>', lines
    )


def _location(row: LocationRow, top: int, x: Callable[[float], float]) -> SafeString:
    """One location's strip."""
    middle = top + 15
    name = row.name if len(row.name) <= 24 else f"{row.name[:23]}…"
    parts = [
        format_html('<text class="lab" x="0" y="{}">{}</text>', middle, name),
        format_html('<text x="0" y="{}">{} sites</text>', middle + 13, row.sites),
        format_html('<path class="gr" d="M{} {}H{}"/>', _LEFT, top + _ROW - 2, _RIGHT),
    ]
    for spread, kind in (
        (row.light_spring, "light"),
        (row.light_autumn, "light"),
        (row.hard_spring, "hard"),
        (row.hard_autumn, "hard"),
    ):
        parts.append(_spread(spread, kind, middle, x))
    if row.season is not None and row.season.start_up_from is not None:
        at = x(row.season.start_up_from)
        parts.append(format_html('<path class="se-up" d="M{} {}l5 9h-10z"/>', f"{at:.1f}", middle - 4))
    if row.season is not None and row.season.winterize_by is not None:
        at = x(row.season.winterize_by)
        parts.append(format_html('<path class="se-down" d="M{} {}l5 -9h-10z"/>', f"{at:.1f}", middle + 5))
    if row.season is not None and row.season.buried_by is not None:
        at = x(row.season.buried_by)
        parts.append(format_html('<path class="se-deep" d="M{} {}v14"/>', f"{at:.1f}", middle - 7))
    return format_html_join("", "{}", ((part,) for part in parts))


def _spread(spread: Spread, kind: str, middle: int, x: Callable[[float], float]) -> SafeString:
    """A bar from the early to the late tenth with a tick at the middle; open where seasons have no freeze."""
    if spread.middle is None and spread.early is None and spread.late is None:
        return SafeString("")
    known = [value for value in (spread.early, spread.middle, spread.late) if value is not None]
    left, right = x(min(known)), x(max(known))
    y, thick = (middle - 9, 4) if kind == "light" else (middle - 3, 7)
    tick = (
        format_html('<path class="rng" d="M{} {}v{}"/>', f"{x(spread.middle):.1f}", y - 1, thick + 2)
        if spread.middle is not None
        else SafeString("")
    )
    return format_html(
        '<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>{}',
        "se-light" if kind == "light" else "se-hard",
        f"{left:.1f}",
        y,
        f"{max(right - left, 1.5):.1f}",
        thick,
        tick,
    )


def due_bars(weeks: Sequence[DueWeek], *, today: date) -> SafeString:
    """Sites that become due by week."""
    most = max((week.total for week in weeks), default=0)
    if not most:
        return SafeString("")
    step, floor, tall = (WIDTH - 20) / len(weeks), 112, 84
    parts = [format_html('<path class="ax" d="M0 {}H{}"/>', floor, WIDTH)]
    for place, week in enumerate(weeks):
        left = place * step
        if week.monday.day <= 7:
            parts.append(
                format_html('<text x="{}" y="{}">{}</text>', f"{left:.1f}", floor + 14, f"{week.monday:%b}")
            )
        if week.monday <= today < week.monday + timedelta(days=7):
            parts.append(format_html('<path class="p-mark" d="M{} 12V{}"/>', f"{left + step / 2:.1f}", floor))
        base = float(floor)
        for count, name in (
            (week.start_ups, "se-up"),
            (week.tests, "se-test"),
            (week.winterizations, "se-down"),
        ):
            if count:
                height = tall * count / most
                base -= height
                parts.append(
                    format_html(
                        '<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>',
                        name,
                        f"{left + 1:.1f}",
                        f"{base:.1f}",
                        f"{step - 2:.1f}",
                        f"{height:.1f}",
                    )
                )
        if week.total:
            parts.append(
                format_html(
                    '<text class="mid lab" x="{}" y="{}">{}</text>',
                    f"{left + step / 2:.1f}",
                    f"{base - 4:.1f}",
                    week.total,
                )
            )
    return format_html(
        '<svg class="plot" viewBox="0 0 {0} 130" width="{0}" height="130" role="img"'
        ' aria-label="{1}">{2}</svg>',
        WIDTH,
        "Sites due by week of the coming year; the table below holds the counts",
        format_html_join("", "{}", ((part,) for part in parts)),
    )
