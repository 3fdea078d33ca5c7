"""Garden-months of the ledger: only those whose figures are new are written."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date

import numpy as np

from fleet.calc.ledger_reasons import SEVERAL_CONTROLLERS
from fleet.models import LedgerMonth
from fleet.selectors.ledger_answer import LedgerAnswer
from fleet.selectors.ledger_inputs import LedgerBook
from weather.calc.arrays import FloatArray

_FIELDS = (
    "used_l", "used_sd_l", "used_source", "need_l", "need_good_du_l", "baseline_l", "saved_l",
    "saved_low_l", "saved_high_l", "reasons",
)  # fmt: skip
_LONGEST_REASONS = 300
_SITES_AT_ONCE = 500

MonthValues = tuple[float | str | None, ...]


def write_months(
    *,
    book: LedgerBook,
    answer: LedgerAnswer,
    months: list[tuple[date, date]],
    use: tuple[FloatArray, FloatArray, list[list[str]]],
    causes: list[list[list[str]]],
) -> int:
    """Keep the garden-months of an answer, and drop others; how many were written.

    A night without new reads or weather of a garden finds its months as they are and leaves them.

    Parameters
    ----------
    book, answer, months
        Gardens, their ledger, and the months that it speaks of.
    use
        Use by garden and month [L], its standard error [L], and its source.
    causes
        Likeliest causes of each garden's month.
    """
    LedgerMonth.objects.exclude(month__gte=months[0][0], month__lte=months[-1][0]).delete()
    notes = _data_notes(book, answer, months, use[2])
    columns = _columns(answer, use)
    written = 0
    for places in _slices(book.site_ids.size):
        ids = book.site_ids[places].tolist()
        stored: dict[tuple[int, date], MonthValues] = {
            (row[0], row[1]): row[2:]
            for row in LedgerMonth.objects.filter(site__in=ids)
            .order_by()
            .values_list("site_id", "month", *_FIELDS)
        }
        rows = [
            LedgerMonth(site_id=pk, month=start, **dict(zip(_FIELDS, values, strict=True)))
            for site, pk in zip(range(places.start, places.stop), ids, strict=True)
            for month, (start, _) in enumerate(months)
            if (values := _values(columns, use[2], causes, notes, site, month)) != stored.get((pk, start))
        ]
        LedgerMonth.objects.bulk_create(
            rows,
            batch_size=2_000,
            update_conflicts=True,
            unique_fields=["site", "month"],
            update_fields=list(_FIELDS),
        )
        written += len(rows)
    return written


def _slices(count: int) -> Iterator[slice]:
    """Places of gardens, some at once."""
    for first in range(0, count, _SITES_AT_ONCE):
        yield slice(first, min(first + _SITES_AT_ONCE, count))


def _columns(
    answer: LedgerAnswer, use: tuple[FloatArray, FloatArray, list[list[str]]]
) -> dict[str, list[list[float | None]]]:
    """Figures by garden and month, rounded to a tenth of a litre; None for an unknown one."""
    ledger, told = answer.ledger, answer.tells_savings
    saved = np.where(told, ledger.saved_l, np.nan)
    figures = {
        "used_l": use[0],
        "used_sd_l": use[1],
        "need_l": answer.need_l,
        "need_good_du_l": answer.need_good_l,
        "baseline_l": use[0] + saved,
        "saved_l": saved,
        "saved_low_l": np.where(told, ledger.low_l, np.nan),
        "saved_high_l": np.where(told, ledger.high_l, np.nan),
    }
    return {name: _or_none(values) for name, values in figures.items()}


def _or_none(values: FloatArray) -> list[list[float | None]]:
    """Numbers rounded to a tenth, None for unknown ones."""
    rounded = np.round(values, 1) + 0.0  # no minus nothing
    told = rounded.astype(object)
    told[~np.isfinite(rounded)] = None
    cells: list[list[float | None]] = told.tolist()
    return cells


def _values(
    columns: dict[str, list[list[float | None]]],
    source: list[list[str]],
    causes: list[list[list[str]]],
    notes: list[list[list[str]]],
    site: int,
    month: int,
) -> MonthValues:
    """One row's values in the order of the fields."""
    words = {
        "used_source": source[site][month],
        "reasons": _joined([*causes[site][month], *notes[site][month]]),
    }
    return tuple(words[name] if name in words else columns[name][site][month] for name in _FIELDS)


def _data_notes(
    book: LedgerBook, answer: LedgerAnswer, months: list[tuple[date, date]], source: list[list[str]]
) -> list[list[list[str]]]:
    """What limits each site's and month's figures."""
    metered, house = answer.ledger.metered, answer.ledger.house
    wrong: dict[tuple[int, int], set[str]] = defaultdict(set)
    for problem in book.use.problems:
        for month, (start, end) in enumerate(months):
            if problem.start < end.isoformat() and problem.end >= start.isoformat():
                wrong[problem.site, month].add(problem.code)
    whole = np.isfinite(house.base_l_d)
    notes = []
    for site in range(book.site_ids.size):
        own = []
        for month in range(len(months)):
            word = source[site][month]
            seen = bool(metered.days[site, month] > 0)
            own.append(
                [
                    *sorted(wrong[site, month]),
                    *(["estimated_from_program"] if word == "estimated" else []),
                    *(["part_of_days"] if word == "part" else []),
                    *(["spans_estimate"] if metered.spans_estimate[site, month] else []),
                    *(
                        ["winter_base_bounded" if house.is_bounded[site] else "whole_house"]
                        if seen and whole[site]
                        else []
                    ),
                    *([SEVERAL_CONTROLLERS] if seen and book.is_mixed[site] else []),
                    *([answer.verdicts[site]] if answer.verdicts[site] else []),
                ]
            )
        notes.append(own)
    return notes


def _joined(codes: list[str]) -> str:
    """Names of reasons, as many as fit."""
    text = ";".join(dict.fromkeys(codes))
    return text if len(text) <= _LONGEST_REASONS else text[: text.rfind(";", 0, _LONGEST_REASONS)]
