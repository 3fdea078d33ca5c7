"""Garden-months of the ledger: only those whose figures are new are written."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
from django.db import connection

from fleet.calc.ledger.reasons import METER_FOLLOWED, SEVERAL_CONTROLLERS
from fleet.models import LedgerMonth
from fleet.selectors.day_numbers import DayNumber
from fleet.selectors.ledger.answer import LedgerAnswer
from fleet.selectors.ledger.estimates import WordArray
from fleet.selectors.ledger.inputs import LedgerBook
from fleet.services.bulk_rows import upsert_rows
from weather.calc.arrays import BoolArray, FloatArray

_NUMBERS = (
    "used_l", "used_sd_l", "need_l", "need_good_du_l", "baseline_l", "saved_l", "saved_low_l", "saved_high_l",
)  # fmt: skip
_WORDS = ("used_source", "reasons")
_LONGEST_REASONS = 300
_SITES_AT_ONCE = 900
_BITS = 32  # of a number that says which reasons hold

Reasons = list[tuple[str, BoolArray]]


@dataclass(frozen=True, slots=True)
class _Grid:
    """Rows as arrays (sites, months): numbers with NaN for unknown ones, and words."""

    numbers: list[FloatArray]
    words: list[WordArray]

    def of_sites(self, places: slice) -> _Grid:
        """Rows of some sites."""
        return _Grid([part[places] for part in self.numbers], [part[places] for part in self.words])

    def differs(self, other: _Grid) -> BoolArray:
        """Where any figure or word is another."""
        found = np.zeros(self.numbers[0].shape, dtype=np.bool_)
        for mine, its in zip(self.numbers, other.numbers, strict=True):
            found |= (mine != its) & ~(np.isnan(mine) & np.isnan(its))
        for word, stored in zip(self.words, other.words, strict=True):
            found |= word != stored
        return found


def write_months(
    *,
    book: LedgerBook,
    answer: LedgerAnswer,
    months: list[tuple[date, date]],
    use: tuple[FloatArray, FloatArray, WordArray],
    reasons: Reasons,
) -> int:
    """Keep the garden-months of an answer, and drop others; how many were written.

    A night without new reads or weather of a garden finds its months as they are and leaves them.

    Parameters
    ----------
    book, answer, months
        Gardens, their ledger, and the months that it speaks of.
    use
        Use by garden and month [L], its standard error [L], and its source.
    reasons
        Reasons and the garden-months that they hold in, in the order in which they are told.
    """
    LedgerMonth.objects.exclude(month__gte=months[0][0], month__lte=months[-1][0]).delete()
    grid = _Grid(_columns(answer, use), [use[2], _joined(reasons, use[2].shape)])
    starts = [span[0] for span in months]
    written = 0
    for places in _slices(book.site_ids.size):
        ids = book.site_ids[places].tolist()
        some = grid.of_sites(places)
        rows = _rows(ids, starts, some, some.differs(_stored(ids, starts)))
        upsert_rows(
            model=LedgerMonth,
            key=("site_id", "month"),
            columns=("site_id", "month", *_NUMBERS, *_WORDS),
            rows=rows,
        )
        written += len(rows)
    return written


def _slices(count: int) -> Iterator[slice]:
    """Places of gardens, some at once."""
    for first in range(0, count, _SITES_AT_ONCE):
        yield slice(first, min(first + _SITES_AT_ONCE, count))


def _columns(answer: LedgerAnswer, use: tuple[FloatArray, FloatArray, WordArray]) -> list[FloatArray]:
    """Figures by garden and month in the order of the columns, rounded to a tenth of a litre."""
    ledger, told = answer.ledger, answer.tells_savings
    saved = np.where(told, ledger.saved_l, np.nan)
    # what was expected is not below nothing, so no more than all that was used can have been wasted
    low = np.where(told, np.maximum(ledger.low_l, -ledger.metered.used_l), np.nan)
    high = np.where(told, ledger.high_l, np.nan)
    figures = (use[0], use[1], answer.need_l, answer.need_good_l, use[0] + saved, saved, low, high)
    finite = [np.where(np.isfinite(values), values, np.nan) for values in figures]
    return [np.asarray(np.round(values, 1) + 0.0, dtype=np.float64) for values in finite]  # no minus nothing


def _stored(ids: Sequence[int], starts: Sequence[date]) -> _Grid:
    """Rows as they stand; the words of one that is not there are None, like no word of the ledger's."""
    rows = list(
        LedgerMonth.objects.filter(site__in=ids)
        .order_by()
        .values_list("site_id", DayNumber("month"), *_NUMBERS, *_WORDS)
    )
    shape = (len(ids), len(starts))
    numbers = [np.full(shape, np.nan) for _ in _NUMBERS]
    words: list[WordArray] = [np.full(shape, None, dtype=np.object_) for _ in _WORDS]
    if not rows:
        return _Grid(numbers, words)
    site, month, *columns = zip(*rows, strict=True)
    order = np.argsort(ids)
    down = order[np.searchsorted(np.sort(ids), np.array(site, dtype=np.int64))]
    days = np.array(starts, dtype="datetime64[D]").astype(np.int64)
    right = np.searchsorted(days, np.array(month, dtype=np.int64))
    for grid, column in zip(numbers, columns, strict=False):
        grid[down, right] = np.array(column, dtype=np.float64)
    for kept, column in zip(words, columns[len(_NUMBERS) :], strict=True):
        kept[down, right] = np.array(column, dtype=np.object_)
    return _Grid(numbers, words)


def _rows(ids: Sequence[int], starts: Sequence[date], grid: _Grid, new: BoolArray) -> list[list[object]]:
    """Values of the rows that a mask picks, as the database takes them."""
    site, month = np.nonzero(new)
    days = [connection.ops.adapt_datefield_value(start) for start in starts]
    columns: list[list[object]] = [
        [ids[place] for place in site.tolist()],
        [days[place] for place in month.tolist()],
    ]
    for part in grid.numbers:
        told = part[new].astype(np.object_)
        told[np.isnan(part[new])] = None
        columns.append(told.tolist())
    columns += [part[new].tolist() for part in grid.words]
    return [list(row) for row in zip(*columns, strict=True)]


def data_notes(
    *, book: LedgerBook, answer: LedgerAnswer, months: list[tuple[date, date]], source: WordArray
) -> Reasons:
    """What limits the figures of sites and months, and which.

    Parameters
    ----------
    book, answer, months
        Gardens, their ledger, and the months that it speaks of.
    source
        Source of the use by garden and month.
    """
    metered, house = answer.ledger.metered, answer.ledger.house
    seen = metered.days > 0
    of_house = seen & np.isfinite(house.base_l_d)[:, None]
    bounded = house.is_bounded[:, None]
    verdicts = np.array(answer.verdicts, dtype=np.object_)
    return [
        *problem_months(book, months),
        ("estimated_from_program", source == "estimated"),
        ("part_of_days", source == "part"),
        ("spans_estimate", metered.spans_estimate),
        ("winter_base_bounded", of_house & bounded),
        ("whole_house", of_house & ~bounded),
        (SEVERAL_CONTROLLERS, seen & book.is_mixed[:, None]),
        (METER_FOLLOWED, followed_months(book, months)),
        *(
            (word, np.broadcast_to((verdicts == word)[:, None], seen.shape))
            for word in sorted(set(answer.verdicts) - {""})
        ),
    ]


def problem_months(book: LedgerBook, months: list[tuple[date, date]]) -> Reasons:
    """What is wrong with reads, by name, and the garden-months that it touches.

    Parameters
    ----------
    book
        Gardens and their reads.
    months
        First day and the day after the last of each, in order and without gaps.
    """
    edges = [months[0][0].isoformat(), *(end.isoformat() for _, end in months)]
    masks: dict[str, BoolArray] = {}
    for problem in book.use.problems:
        mask = masks.setdefault(problem.code, np.zeros((book.site_ids.size, len(months)), dtype=np.bool_))
        for month, (start, end) in enumerate(pairwise(edges)):
            if problem.start < end and problem.end >= start:
                mask[problem.site, month] = True
    return sorted(masks.items())


def followed_months(
    book: LedgerBook, months: Sequence[tuple[date, date]], *, and_later: bool = False
) -> BoolArray:
    """Garden-months in which a register of another number took over.

    Parameters
    ----------
    book
        Gardens and their meters.
    months
        First day and the day after the last of each, in order and without gaps.
    and_later
        Whether all months after it count, too.
    """
    mask = np.zeros((book.site_ids.size, len(months)), dtype=np.bool_)
    starts = [start.isoformat() for start, _ in months]
    for site, day in book.followed:
        month = bisect_right(starts, day) - 1
        mask[site, max(month, 0) : len(months) if and_later else max(month + 1, 0)] = True
    return mask


def _joined(reasons: Reasons, shape: tuple[int, ...]) -> WordArray:
    """Names of the reasons of each garden's month in their order, as many as fit."""
    texts, place = [""], np.zeros(shape, dtype=np.int64)
    for first in range(0, len(reasons), _BITS):
        some = reasons[first : first + _BITS]
        bits = place << len(some)
        for bit, (_, mask) in enumerate(some):
            bits |= mask.astype(np.int64) << bit
        # every mix of reasons that occurs has a number; there are some hundreds of them
        mixes, place = np.unique(bits, return_inverse=True)
        place = place.reshape(shape)
        names = [name for name, _ in some]
        texts = [_mixed(texts[mix >> len(some)], names, mix) for mix in mixes.tolist()]
    return np.asarray(np.array(texts, dtype=np.object_)[place])


def _mixed(text: str, names: Sequence[str], mix: int) -> str:
    """Reasons after those of a text: the ones whose bits are set."""
    for bit, name in enumerate(names):
        if mix >> bit & 1:
            text = _with(text, name)
    return text


def _with(text: str, name: str) -> str:
    """A reason after others, where it is not among them and fits."""
    if name in text.split(";"):
        return text
    longer = f"{text};{name}" if text else name
    return longer if len(longer) <= _LONGEST_REASONS else text
