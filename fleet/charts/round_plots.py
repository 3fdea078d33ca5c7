"""Small plots of the weekly round as SVG; numbers only, positions as attributes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from sites.calc.program.sheet import Pass

WIDTH_PX = 118
_EDGE_PX = 6
_STRIP_LEFT_PX = 40
_LABEL_FROM_PX = 11.0
_LANE_PX = 24


def two_dots(*, now: float | None, new: float | None, most: float) -> SafeString:
    """Minutes a week as set (open) and as recommended (filled), on a line up to `most` [min]."""

    def at(value: float) -> float:
        return _EDGE_PX + (WIDTH_PX - 2 * _EDGE_PX) * min(value / max(most, 1e-9), 1.0)

    parts = format_html('<path class="gr" d="M{} 8H{}"/>', _EDGE_PX, WIDTH_PX - _EDGE_PX)
    if now is not None and new is not None:
        parts += format_html('<path class="dlink" d="M{} 8H{}"/>', f"{at(now):.1f}", f"{at(new):.1f}")
    if now is not None:
        parts += format_html('<circle class="dot peer fillp" cx="{}" cy="8" r="4"/>', f"{at(now):.1f}")
    if new is not None:
        parts += format_html('<circle class="dot" cx="{}" cy="8" r="4"/>', f"{at(new):.1f}")
    words = f"{_word(now)} minutes a week set now, {_word(new)} recommended"
    return format_html(
        '<svg class="plot dots" viewBox="0 0 {0} 16" width="{0}" height="16" role="img" aria-label="{1}">'
        "{2}</svg>",
        WIDTH_PX,
        words,
        parts,
    )


def day_strip(rows: Sequence[tuple[str, Sequence[Pass]]], *, width_px: int = 596) -> SafeString:
    """Runs of one watering day on the clock, one row for each (word, runs); station numbers where they fit.

    Parameters
    ----------
    rows
        Word of the row and its runs; the last row is drawn as new.
    width_px
        Width of the drawing [px].
    """
    runs = [one for _, passes in rows for one in passes]
    if not runs:
        return format_html("{}", "")
    first = 60 * int(min(one.start_min for one in runs) // 60)
    last = 60 * -int(-max(one.start_min + one.length_min for one in runs) // 60)
    scale = (width_px - _STRIP_LEFT_PX - 6) / max(last - first, 60)
    lanes = [_lanes(passes) for _, passes in rows]
    tops = [25 + sum(_row_px(one) for one in lanes[:number]) for number in range(len(rows) + 1)]
    height = 5 + tops[-1]
    parts = [
        format_html(
            '<rect class="win" x="{}" y="22" width="{}" height="{}"/>',
            _STRIP_LEFT_PX,
            f"{(last - first) * scale:.1f}",
            height - 26,
        ),
        *_hours(first, last, scale, height),
    ]
    for number, (word, passes) in enumerate(rows):
        is_new = number == len(rows) - 1
        parts.extend(_row(word, passes, lanes[number], tops[number], first, scale, is_new=is_new))
    words = "; ".join(f"{word}: {_spoken(passes)}" for word, passes in rows)
    return format_html(
        '<svg class="plot strip" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="img" aria-label="{2}">'
        "{3}</svg>",
        width_px,
        height,
        words,
        format_html_join("", "{}", ((part,) for part in parts)),
    )


def _hours(first: int, last: int, scale: float, height: int) -> Iterator[SafeString]:
    """Grid and clock times; fewer where there is no room."""
    every = next((step for step in (60, 120, 180, 240) if step * scale >= 42), 360)
    for minute in range(first, last + 1, every):
        x = f"{_STRIP_LEFT_PX + (minute - first) * scale:.1f}"
        yield format_html('<path class="gr" d="M{} 22V{}"/>', x, height - 4)
        yield format_html('<text class="mid" x="{}" y="16">{}:00</text>', x, minute // 60 % 24)


def _lanes(passes: Sequence[Pass]) -> tuple[int, ...]:
    """Lane of each run: the first that is free when it begins; 0 alone where one follows the other."""
    ends: list[float] = []
    found = []
    for one in passes:
        lane = next((at for at, end in enumerate(ends) if end <= one.start_min + 1e-6), len(ends))
        ends[lane : lane + 1] = [one.start_min + one.length_min]
        found.append(lane)
    return tuple(found)


def _row_px(lanes: Sequence[int]) -> int:
    """Height of a row with its lanes, one below the other [px]."""
    return 28 + _LANE_PX * max(lanes, default=0)


def _row(
    word: str,
    passes: Sequence[Pass],
    lanes: Sequence[int],
    top: int,
    first: int,
    scale: float,
    *,
    is_new: bool,
) -> Iterator[SafeString]:
    """One row of blocks, what runs together one below the other."""
    yield format_html(
        '<text class="end{}" x="{}" y="{}">{}</text>',
        " lab" if is_new else "",
        _STRIP_LEFT_PX - 6,
        top + 15,
        word,
    )
    for one, lane in zip(passes, lanes, strict=True):
        y = top + _LANE_PX * lane
        left = _STRIP_LEFT_PX + (one.start_min - first) * scale
        width = max(one.length_min * scale - 1.0, 1.0)
        kind = "" if not is_new else (" n" if one.letter == "A" else " g")
        yield format_html(
            '<rect class="blk{}" x="{}" y="{}" width="{}" height="22"/>',
            kind,
            f"{left:.1f}",
            y,
            f"{width:.1f}",
        )
        if width >= _LABEL_FROM_PX:
            yield format_html(
                '<text class="mid{}" x="{}" y="{}">{}</text>',
                " on-blk" if is_new else "",
                f"{left + width / 2:.1f}",
                y + 15,
                one.station,
            )


def _spoken(passes: Sequence[Pass]) -> str:
    """Runs in words, for those who hear the page."""
    if not passes:
        return "nothing runs"
    end = max(one.start_min + one.length_min for one in passes)
    return f"{len(passes)} runs from {_clock(passes[0].start_min)} to {_clock(end)}"


def _clock(minute: float) -> str:
    """A clock time."""
    return f"{int(minute) // 60 % 24}:{int(minute) % 60:02d}"


def _word(value: float | None) -> str:
    """A number in words."""
    return "unknown" if value is None else f"{value:.0f}"
