"""The sentence that stands under a flag: counts, what a good sensor would have done, rain and neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

CAUSE_WORDS = {
    "stuck_wet": "stuck wet",
    "stuck_dry": "stuck dry",
    "reads_wet": "reads wet",
    "reads_dry": "reads dry",
    "erratic": "erratic",
    "program_differs": "the timer holds another program",
    "overridden": "the sensor input is switched off",
    "no_power": "no power",
}
_OVERDISPERSION = 2.0  # starts of one day are not independent
_MOSTLY_BLOCKS, _MOSTLY_RUNS = 2.0 / 3.0, 1.0 / 3.0  # bypass rates of a good sensor
_MOSTLY = 0.5  # of its starts blocked: a neighbour that mostly blocks
_NINETY = 1.2816  # 80 % of outcomes lie between the bounds


@dataclass(frozen=True, slots=True)
class Counts:
    """What was seen of one controller since a day, beside what was to be expected.

    Parameters
    ----------
    since
        First day counted.
    starts, blocked
        Starts offered and blocked on the days seen [1].
    expected, expected_sd
        Blocked starts to expect of a good sensor and their standard deviation [1].
    rain_mm
        Rain in that time [mm].
    neighbours
        Controllers at the same weather location that were seen in that time [1].
    neighbour_rate
        Their bypass rate, NaN without any [1].
    neighbours_blocking
        How many of them blocked at least half of their starts [1].
    """

    since: date
    starts: int
    blocked: int
    expected: float
    expected_sd: float
    rain_mm: float
    neighbours: int
    neighbour_rate: float
    neighbours_blocking: int = 0

    @property
    def low(self) -> int:
        """Fewest blocked starts of a good sensor, four times in five [1]."""
        return int(np.clip(round(self.expected - _NINETY * self.expected_sd), 0, self.starts))

    @property
    def high(self) -> int:
        """Most blocked starts of a good sensor, four times in five [1]."""
        return int(np.clip(round(self.expected + _NINETY * self.expected_sd), 0, self.starts))


@dataclass(frozen=True, slots=True)
class CountTable:
    """Counts of many controllers, all (sites,); see `Counts`, and `contrary_sentence` for the last four."""

    starts: IntArray
    blocked: IntArray
    expected: FloatArray
    expected_sd: FloatArray
    rain_mm: FloatArray
    neighbours: IntArray
    neighbour_rate: FloatArray
    neighbours_blocking: IntArray
    wet_starts: IntArray
    wet_ran: IntArray
    dry_starts: IntArray
    dry_blocked: IntArray


def count_table(
    starts: FloatArray,
    blocked: FloatArray,
    expected_rate: npt.NDArray[np.floating],
    rain_mm: FloatArray,
    location: IntArray,
    from_day: IntArray,
) -> CountTable:
    """Counts of every site from its own day on, and of the others at its location [1].

    Parameters
    ----------
    starts, blocked
        Counts on the days seen, 0 elsewhere, (days, sites) [1].
    expected_rate
        Bypass rate of a good sensor, NaN without starts, (days, sites) [1].
    rain_mm
        Rain, NaN where unknown, (days, sites) [mm/d].
    location
        Weather location of each site, (sites,) [1].
    from_day
        First day index to count, (sites,) [1].
    """
    inside = np.arange(starts.shape[0])[:, None] >= from_day[None, :]
    rate = np.nan_to_num(expected_rate.astype(np.float64), nan=0.0)
    offered = np.round((starts * inside).sum(axis=0))
    variance = (starts * rate * (1.0 - rate) * inside).sum(axis=0) * _OVERDISPERSION
    neighbours, neighbour_rate, blocking = _neighbours(starts, blocked, location, from_day)
    wet = inside & (rate > _MOSTLY_BLOCKS)
    dry = inside & (rate < _MOSTLY_RUNS) & np.isfinite(expected_rate)
    return CountTable(
        starts=offered.astype(np.int64),
        blocked=np.round((blocked * inside).sum(axis=0)).astype(np.int64),
        expected=(starts * rate * inside).sum(axis=0),
        expected_sd=np.sqrt(variance),
        rain_mm=np.nansum(np.where(inside, rain_mm, 0.0), axis=0),
        neighbours=neighbours,
        neighbour_rate=neighbour_rate,
        neighbours_blocking=blocking,
        wet_starts=_total(starts, wet),
        wet_ran=_total(starts - blocked, wet),
        dry_starts=_total(starts, dry),
        dry_blocked=_total(blocked, dry),
    )


def contrary_sentence(counts: CountTable, at: int) -> str:
    """Runs where a good sensor mostly blocks, and blocks where it does not, in words; empty without any.

    Parameters
    ----------
    counts
        Counts of many controllers.
    at
        Position of the controller [1].
    """
    parts = []
    if counts.wet_starts[at]:
        parts.append(
            f"{counts.wet_ran[at]} of {counts.wet_starts[at]} starts ran where a good sensor mostly blocks"
        )
    if counts.dry_starts[at]:
        verb = "was" if counts.dry_blocked[at] == 1 else "were"
        share = f"{counts.dry_blocked[at]} of {counts.dry_starts[at]}"
        parts.append(f"{share} {verb} blocked where it mostly lets them run")
    return f"By the balance {' and '.join(parts)}." if parts else ""


def evidence_sentence(counts: Counts, causes: list[tuple[str, float]], *, end: date) -> str:
    """Evidence in words, with counts, expectation, neighbours, rain and the causes that fit.

    Parameters
    ----------
    counts
        What was seen and what was to be expected.
    causes
        Names and probabilities, most likely first [1].
    end
        Last day counted.
    """
    ran = counts.starts - counts.blocked
    parts = [f"From {_day(counts.since)} to {_day(end)}"]
    if ran > counts.blocked:
        parts[-1] += f" {ran} of {counts.starts} starts ran through {counts.rain_mm:.0f} mm of rain"
    else:
        parts[-1] += (
            f" the sensor blocked {counts.blocked} of {counts.starts} starts"
            f" with {counts.rain_mm:.0f} mm of rain"
        )
    if counts.neighbours and np.isfinite(counts.neighbour_rate):
        parts[-1] += (
            f"; {counts.neighbours_blocking} of {counts.neighbours} neighbours blocked at least half of"
            f" theirs ({100 * counts.neighbour_rate:.0f} % in all)"
        )
    parts[-1] += "."
    span = f"{counts.low}" if counts.low == counts.high else f"{counts.low} to {counts.high}"
    parts.append(f"On the same weather a good sensor here would have blocked {span}.")
    likely = [f"{CAUSE_WORDS[name]} ({100 * share:.0f} %)" for name, share in causes if share >= 0.1][:3]
    if likely:
        rest = f", possible: {', '.join(likely[1:])}" if len(likely) > 1 else ""
        parts.append(f"Most likely: {likely[0]}{rest}.")
    return " ".join(parts)


def totals_sentence(since: date, *, told: int, by_book: int) -> str:
    """Evidence of another program by a total of several days, in words.

    Parameters
    ----------
    since
        First day of the row.
    told, by_book
        Starts by the log and by the program in the book [1].
    """
    return (
        f"The log counts {told} starts in the period from {_day(since)} on;"
        f" the program in the book gives {by_book}."
    )


def outside_sentence(cause: str, since: date | None, *, by_skips: bool, days: int) -> str:
    """Evidence of a cause outside the sensor, in words.

    Parameters
    ----------
    cause
        `program_differs` or `no_power`.
    since
        First day of it.
    by_skips
        Whether starts were skipped rather than missing.
    days
        Days since then [d].
    """
    when = f"Since {_day(since)}" if since else f"For {days} days"
    if cause == "no_power":
        if by_skips:
            return (
                f"{when} every start was skipped for a cause other than the sensor: timer off or rain delay."
            )
        return f"{when} the log shows no start at all, although a program is set."
    return f"{when} the starts of the log do not fit the program in the book, in whatever phase."


def standstill_sentence(days: int) -> str:
    """Days on which not one timer but a street or a supplier's gardens stood still, in words; empty for none.

    Parameters
    ----------
    days
        Such days in the last four weeks [d].
    """
    if not days:
        return ""
    return (
        f"On {days} {'day' if days == 1 else 'days'} of the last four weeks the starts stood still here and"
        " in the gardens around or of the same supplier: a ban or a power cut, not this timer."
    )


def _neighbours(
    starts: FloatArray,
    blocked: FloatArray,
    location: IntArray,
    from_day: IntArray,
) -> tuple[IntArray, FloatArray, IntArray]:
    """Other controllers seen at the location since the day, their bypass rate, and how many mostly block."""
    locations = int(location.max(initial=-1)) + 1
    days, sites = starts.shape
    own = np.zeros((2, days + 1, sites))
    own[0, :days] = np.cumsum(starts[::-1], axis=0)[::-1]
    own[1, :days] = np.cumsum(blocked[::-1], axis=0)[::-1]
    first = np.clip(from_day, 0, days)
    count, blocking = np.zeros(sites, dtype=np.int64), np.zeros(sites, dtype=np.int64)
    rate = np.full(sites, np.nan)
    for day in np.unique(first):
        asking = np.flatnonzero(first == day)
        place = location[asking]
        offered, stopped = own[:, day]
        totals = []
        for values in (offered, stopped, offered > 0, (offered > 0) & (stopped >= _MOSTLY * offered)):
            whole = np.bincount(location, weights=values.astype(np.float64), minlength=locations)
            totals.append(whole[place] - values[asking])
        np.divide(totals[1], totals[0], out=totals[1], where=totals[0] > 0)
        rate[asking] = np.where(totals[0] > 0, totals[1], np.nan)
        count[asking], blocking[asking] = np.round(totals[2]), np.round(totals[3])
    return count, rate, blocking


def _total(counts: FloatArray, where: npt.NDArray[np.bool_]) -> IntArray:
    """Whole counts of each site on some days."""
    whole: IntArray = np.round((counts * where).sum(axis=0)).astype(np.int64)
    return whole


def _day(day: date | None) -> str:
    """A day as 27 May."""
    return f"{day.day} {day:%b}" if day else ""
