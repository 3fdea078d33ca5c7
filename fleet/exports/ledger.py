"""The water ledger as rows of the contract's export."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Final

import numpy as np

from fleet.calc.ledger.savings import CONFIDENCE
from fleet.models import LedgerMonth
from fleet.selectors.ledger.answer import LedgerAnswer, answer_spans
from fleet.selectors.ledger.estimates import used_water
from fleet.selectors.ledger.inputs import ledger_book

COLUMNS: Final = (
    "period_start", "period_end", "site", "used_l", "used_source", "need_l", "need_good_du_l", "baseline_l",
    "saved_l", "saved_low_l", "saved_high_l", "ratio", "reasons",
)  # fmt: skip
PERIODS: Final = ("day", "month", "season", "all")


class UnknownPeriod(ValueError):
    """A period that is none of day, month, season and all."""


def rows(
    *, start: date, end: date, period: str = "month", private: bool = False
) -> Iterator[dict[str, object]]:
    """Rows by site and period; with `all` one row a site, and one row ALL for the book.

    Bounds are computed for each period as it stands, never added up over rows.

    Parameters
    ----------
    start, end
        First day, and the day after the last.
    period
        `day`, `month`, `season` (December to February, and so on) or `all`.
    private
        Nothing in the ledger is private; taken so that all exports are called alike.
    """
    del private
    book = ledger_book(until_day=end - timedelta(days=1))
    spans = period_spans(start=start, end=end, period=period)
    answer = answer_spans(book=book, spans=spans)
    if answer is None:
        return
    reasons = _reasons(start, end)
    used, _, source = used_water(book=book, answer=answer, spans=spans)
    for site, code in enumerate(book.codes):
        for place, span in enumerate(spans):
            yield {
                "period_start": span[0].isoformat(),
                "period_end": span[1].isoformat(),
                "site": code,
                **_figures(answer, float(used[site, place]), source[site][place], site, place),
                "reasons": ";".join(dict.fromkeys(reasons.get(int(book.site_ids[site]), []))),
            }
    if period == "all":
        yield _book_row(answer, spans[0])


def stored_rows(*, start: date, end: date) -> Iterator[dict[str, object]]:
    """Rows by site and month as the night kept them, without computing anything anew.

    Parameters
    ----------
    start, end
        First day, and the day after the last.
    """
    months = LedgerMonth.objects.filter(month__gte=start, month__lt=end).select_related("site")
    for row in months.order_by("site__code", "month").iterator(chunk_size=2_000):
        yield _stored(row)


def stored_features(*, start: date, end: date) -> Iterator[dict[str, object]]:
    """The same rows as GeoJSON points of the gardens that have a place.

    Parameters
    ----------
    start, end
        First day, and the day after the last.
    """
    months = LedgerMonth.objects.filter(
        month__gte=start, month__lt=end, site__longitude__isnull=False, site__latitude__isnull=False
    ).select_related("site")
    for row in months.order_by("site__code", "month").iterator(chunk_size=2_000):
        yield {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [row.site.longitude, row.site.latitude]},
            "properties": {
                "kind": "ledger",
                **{name: None if value == "" else value for name, value in _stored(row).items()},
            },
        }


def _stored(row: LedgerMonth) -> dict[str, object]:
    """A kept month as a row."""
    used, need = row.used_l, row.need_l
    figures = {
        name: "" if (value := getattr(row, name)) is None else value
        for name in ("need_good_du_l", "baseline_l", "saved_l", "saved_low_l", "saved_high_l")
    }
    return {
        "period_start": row.month.isoformat(),
        "period_end": (row.month + timedelta(days=32)).replace(day=1).isoformat(),
        "site": row.site.code,
        "used_l": "" if used is None else used,
        "used_source": row.used_source,
        "need_l": "" if need is None else need,
        **figures,
        "ratio": round(used / need, 3) if used is not None and need else "",
        "reasons": row.reasons,
    }


def period_spans(*, start: date, end: date, period: str) -> list[tuple[date, date]]:
    """First day and the day after the last of each period between two days."""
    if period not in PERIODS:
        raise UnknownPeriod(f"period {period!r} is not one of {', '.join(PERIODS)}")
    if period == "all":
        return [(start, end)]
    spans, first = [], start
    while first < end:
        last = min(_next_edge(first, period), end)
        spans.append((first, last))
        first = last
    return spans


def _next_edge(day: date, period: str) -> date:
    """First day of the next period."""
    if period == "day":
        return day + timedelta(days=1)
    following = (day.replace(day=1) + timedelta(days=32)).replace(day=1)
    while period == "season" and following.month not in (3, 6, 9, 12):
        following = (following + timedelta(days=32)).replace(day=1)
    return following


def _reasons(start: date, end: date) -> dict[int, list[str]]:
    """Reasons that the stored months of each site name, in the order of the months."""
    found: dict[int, list[str]] = {}
    months = LedgerMonth.objects.filter(month__gte=start.replace(day=1), month__lt=end).exclude(reasons="")
    for pk, words in months.order_by("month").values_list("site_id", "reasons"):
        found.setdefault(pk, []).extend(words.split(";"))
    return found


def _figures(answer: LedgerAnswer, used: float, source: str, site: int, place: int) -> dict[str, object]:
    """Figures of one site and period."""
    ledger = answer.ledger
    need = float(answer.need_l[site, place])
    told = bool(answer.tells_savings[site, place])
    saved = float(ledger.saved_l[site, place]) if told else np.nan
    # less than nothing is never expected, as on the pages
    low = max(float(ledger.low_l[site, place]), -float(ledger.metered.used_l[site, place]))
    return {
        "used_l": _cell(used),
        "used_source": source,
        "need_l": _cell(need),
        "need_good_du_l": _cell(float(answer.need_good_l[site, place])),
        "baseline_l": _cell(used + saved),
        "saved_l": _cell(saved),
        "saved_low_l": _cell(low if told else np.nan),
        "saved_high_l": _cell(float(ledger.high_l[site, place]) if told else np.nan),
        "ratio": round(used / need, 3) if need > 0 and np.isfinite(used) else "",
    }


def _book_row(answer: LedgerAnswer, span: tuple[date, date]) -> dict[str, object]:
    """The whole book: use and need of all metered sites; savings of those that can be judged."""
    ledger = answer.ledger
    seen = (ledger.metered.days[:, 0] > 0) & np.isfinite(answer.need_l[:, 0])
    used, need = float(ledger.used_l[seen, 0].sum()), float(answer.need_l[seen, 0].sum())
    saved, half = float(ledger.total.saved_l[0]), float(ledger.total.half_width_l(CONFIDENCE)[0])
    judged = int(ledger.total.sites[0])
    return {
        "period_start": span[0].isoformat(),
        "period_end": span[1].isoformat(),
        "site": "ALL",
        "used_l": _cell(used),
        "used_source": "metered" if seen.any() else "",
        "need_l": _cell(need),
        "need_good_du_l": _cell(float(answer.need_good_l[seen, 0].sum())),
        "baseline_l": _cell(float(ledger.total.predicted_l[0])) if judged else "",
        "saved_l": _cell(saved) if judged else "",
        "saved_low_l": _cell(max(saved - half, -float(ledger.total.used_l[0]))) if judged else "",
        "saved_high_l": _cell(saved + half) if judged else "",
        "ratio": round(used / need, 3) if need > 0 else "",
        "reasons": f"savings_of_{judged}_sites_since_their_sensor;comparison_of_{ledger.comparison_sites}",
    }


def _cell(value: float) -> object:
    """A rounded number, or an empty cell."""
    return round(value, 1) if np.isfinite(value) else ""
