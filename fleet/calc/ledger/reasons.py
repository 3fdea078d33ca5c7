"""Why a garden used more or less than it needed, and why something cannot be told: names, worst first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.calc.ledger import baseline, periods, sites, slips
from weather.calc.arrays import BoolArray, FloatArray

UNEVEN = 1.15  # need over need at a good uniformity from which uneven heads are named. [judgement]
OVER = 1.3  # used over need: more is excess, less than UNDER deficit (classes of REU 2016)
UNDER = 0.7
_REST = 0.05  # of the year's largest monthly need
_FALLING = 0.6  # of the year's largest monthly need: the season has turned. [judgement]

SENSOR_DATE_UNKNOWN = "sensor_date_unknown"
NO_WEATHER = "no_weather"
SEVERAL_CONTROLLERS = "several_controllers"
METER_FOLLOWED = "meter_followed"
LEAK = "leak"
FLAGGED = "sensor_flag"
POOR_UNIFORMITY = "poor_uniformity"

WORDS = {
    LEAK: "leak: its meter never stood still",
    POOR_UNIFORMITY: "heads spread unevenly: with even ones its plants would have needed less",
    SEVERAL_CONTROLLERS: "one meter feeds several controllers, not all with a sensor",
    METER_FOLLOWED: "a meter of another number took over; both count as one",
    "use_without_need": "uses water while nothing needs any: leak, or watering left on",
    FLAGGED: "sensor flagged",
    "autumn_over_watering": "not turned down when the season turned",
    "program_not_keyed_in": "recommended program not keyed in",
    "no_sensor": "no sensor",
    "over_need": "more than it needed",
    "under_need": "less than it needed",
    "rule_limits": "watering rules leave too little time",
    "winter_base_bounded": "whole-house meter: the house's share is only known within bounds",
    "whole_house": "whole-house meter, winter base taken off",
    "spans_estimate": "an estimated read was passed over",
    "part_of_days": "metered on part of the days",
    "estimated_from_program": "no meter: estimated from program and log",
    "comparison_adjusted": "baseline moved by what gardens without a sensor did",
    periods.NEGATIVE_VOLUME: "a volume is negative",
    periods.EMPTY_PERIOD: "a period has no days",
    periods.OVERLAPPING_PERIODS: "periods overlap",
    periods.METERS_READ_APART: "several meters, never read on the same day",
    periods.ONE_READ_ONLY: "only one read",
    periods.ESTIMATED_VOLUME: "an estimated bill that no read one has made good yet",
    periods.ONLY_ESTIMATED_READS: "only estimated reads",
    periods.READS_OUT_OF_ORDER: "reads out of order",
    periods.TWO_READS_AT_ONE_TIME: "two different reads at one time",
    periods.READING_FELL: "a reading fell",
    periods.UNIT_CHANGED: "the unit changed",
    periods.NO_CLOSING_READ: "meter exchanged without a closing read",
    slips.TOO_MUCH: "a volume is more than twenty times what its planted area can need",
    slips.TOO_LITTLE: "a volume is next to nothing in the watering season, as if in another unit",
    periods.BILLS_DIFFER: "bills and reads of the same days tell of different water",
    periods.METER_OF_TWO_SITES: "its meter’s number stands in the book of two gardens",
    baseline.TOO_FEW_DAYS: "not a year of bills before the sensor",
    baseline.TOO_FEW_PERIODS: "too few bills before the sensor",
    baseline.NEED_HARDLY_VARIES: "need hardly varied before the sensor",
    baseline.SCATTER: "use does not follow need closely enough",
    sites.NO_PERIODS: "no meter reads",
    sites.NOTHING_AFTER: "no month of reads since the sensor",
    SENSOR_DATE_UNKNOWN: "day of the sensor not known",
    NO_WEATHER: "no weather for the site",
}


# What limits figures without making them unusable.
WIDER = ("winter_base_bounded", "whole_house", "part_of_days", "spans_estimate", "estimated_from_program")

# What would mend a gap in the data: what to do, and where (a visit, a file, the garden's book).
VISIT, FILE, BOOK, WAIT = "visit", "file", "book", "wait"
MENDS = {
    sites.NO_PERIODS: (FILE, "import the supplier’s bills or the meter’s volumes; no meter: have one read"),
    sites.NOTHING_AFTER: (
        FILE,
        "import the bills since the sensor came, or wait for the first month of them",
    ),
    baseline.TOO_FEW_DAYS: (FILE, "ask the customer or supplier for the bills of the year before the sensor"),
    baseline.TOO_FEW_PERIODS: (
        FILE,
        "ask for ten monthly or two years of two-monthly bills before the sensor",
    ),
    baseline.NEED_HARDLY_VARIES: (FILE, "ask for bills of a whole year: those at hand are all of one season"),
    baseline.SCATTER: (
        VISIT,
        "look for another use on the meter (pool, leak, a second garden); check area and unit",
    ),
    SENSOR_DATE_UNKNOWN: (BOOK, "enter the day on which the sensor was installed"),
    NO_WEATHER: (BOOK, "bring a location with weather near the garden, or correct its place"),
    periods.NEGATIVE_VOLUME: (FILE, "correct the volume in the file and import it again"),
    periods.EMPTY_PERIOD: (FILE, "correct the days of the period and import it again"),
    periods.OVERLAPPING_PERIODS: (FILE, "keep one of the periods that overlap and import it again"),
    periods.METERS_READ_APART: (VISIT, "read all meters of the garden on one day"),
    periods.ONE_READ_ONLY: (VISIT, "read the meter again at the next visit"),
    periods.ESTIMATED_VOLUME: (FILE, "import the next bill that was read, or have the meter read"),
    periods.ONLY_ESTIMATED_READS: (VISIT, "have somebody look at the register"),
    periods.READS_OUT_OF_ORDER: (FILE, "check the days of the reads"),
    periods.TWO_READS_AT_ONE_TIME: (FILE, "keep the right one of the two reads"),
    periods.READING_FELL: (
        VISIT,
        "check the read and the register’s digits; an exchanged meter needs its event",
    ),
    periods.UNIT_CHANGED: (FILE, "give all reads of a register in one unit, or record the exchange"),
    periods.NO_CLOSING_READ: (FILE, "ask for the old register’s last read on the day of the exchange"),
    slips.TOO_MUCH: (
        FILE,
        "check unit, decimal point and planted area; after a burst pipe it may be right",
    ),
    slips.TOO_LITTLE: (FILE, "check the unit and the decimal point of the bill or the register"),
    periods.BILLS_DIFFER: (
        FILE,
        "find out which is right (unit, digits, a second meter on the bill) and correct the other",
    ),
    periods.METER_OF_TWO_SITES: (FILE, "give the meter to the one garden that it feeds"),
    METER_FOLLOWED: (
        VISIT,
        "make sure that the old meter is gone; where both run, read both on one day",
    ),
    SEVERAL_CONTROLLERS: (
        BOOK,
        "read the saving as that of all its controllers together, or have each metered by itself",
    ),
}


def mend_of(code: str) -> tuple[str, str]:
    """Where and how a gap in the data is mended.

    Parameters
    ----------
    code
        Name of what is missing or wrong [1].
    """
    return MENDS.get(code, (WAIT, "nothing to do: it mends itself with the next reads"))


def reason_words(code: str) -> str:
    """A reason in plain words; one that a fault's name follows keeps it.

    Parameters
    ----------
    code
        Name of the reason, with a fault after a colon where it has one [1].
    """
    name, _, fault = code.partition(":")
    words = WORDS.get(name, name.replace("_", " "))
    return f"{words}: {fault.replace('_', ' ')}" if fault else words


@dataclass(frozen=True, slots=True)
class RatioClasses:
    """Count of gardens that got too little, enough and too much, by used over need (classes of REU 2016)."""

    under: int
    within: int
    over: int


def ratio_classes(ratio: FloatArray) -> RatioClasses:
    """Gardens by class; one whose ratio is not told counts nowhere.

    Parameters
    ----------
    ratio
        Used over need, NaN where not told, shape (sites,) [1].
    """
    under, over = int(np.sum(ratio < UNDER)), int(np.sum(ratio > OVER))
    return RatioClasses(under, int(np.sum(np.isfinite(ratio))) - under - over, over)


@dataclass(frozen=True, slots=True)
class MonthMarks:
    """What is known of months besides litres, arrays (sites, months) unless said otherwise.

    Parameters
    ----------
    ratio
        Used over need [1]; NaN where not told.
    need_l
        Need [L]; NaN where not told.
    is_own_meter
        Whether the meter feeds only the garden, (sites,) [1].
    flag_cause
        Cause of a flag that was open in the month, empty for none [1].
    is_unkeyed
        Whether a recommended change waited to be keyed in [1].
    is_bound_by_rules
        Whether the recommended program was bound by a limit of the rules [1].
    has_sensor
        Whether a sensor was there, (sites, months) [1].
    falls
        Whether the month lies after the month of the year's largest need [1].
    is_leaking
        Whether the meter was seen to run without a stop [1].
    unevenness
        Need over need at a good uniformity [1]; NaN where not told.
    """

    ratio: FloatArray
    need_l: FloatArray
    is_own_meter: BoolArray
    flag_cause: np.ndarray[tuple[int, int], np.dtype[np.object_]]
    is_unkeyed: BoolArray
    is_bound_by_rules: BoolArray
    has_sensor: BoolArray
    falls: BoolArray
    is_leaking: BoolArray
    unevenness: FloatArray


def season_has_turned(
    need_l: FloatArray, month_of_year: np.ndarray[tuple[int], np.dtype[np.int64]]
) -> BoolArray:
    """Whether a month comes within five months after the calendar month of a site's largest mean need.

    Parameters
    ----------
    need_l
        Need by site and month, shape (sites, months) [L].
    month_of_year
        Calendar month of each column, 0 to 11, shape (months,) [1].
    """
    means = np.zeros((need_l.shape[0], 12))
    for month in range(12):
        columns = np.nan_to_num(need_l[:, month_of_year == month])
        means[:, month] = columns.mean(axis=1) if columns.shape[1] else 0.0
    peak = np.argmax(means, axis=1)
    since = (month_of_year[None, :] - peak[:, None]) % 12
    return np.asarray((since >= 1) & (since <= 5))


def month_reasons(marks: MonthMarks) -> list[tuple[str, BoolArray]]:
    """Reasons for the use of months against their need, the likeliest cause first, each with its months.

    Parameters
    ----------
    marks
        What is known of the months [1].

    Returns
    -------
    list
        Name of each reason, and where it holds, shape (sites, months) [1].
    """
    peak = np.max(np.nan_to_num(marks.need_l), axis=1, initial=0.0)[:, None]
    over, under = marks.ratio > OVER, marks.ratio < UNDER
    rest = (marks.need_l <= _REST * peak) & marks.is_own_meter[:, None]
    autumn = over & marks.falls & (marks.need_l < _FALLING * peak) & ~rest
    # over the need of evenly spread heads: what uneven ones ask for counts in their own need
    uneven = (marks.unevenness >= UNEVEN) & (marks.ratio * marks.unevenness > OVER)
    causes = (
        (marks.is_leaking, LEAK),
        (over & rest & ~marks.is_leaking, "use_without_need"),
        (over & (marks.flag_cause != ""), FLAGGED),
        (autumn, "autumn_over_watering"),
        (over & marks.is_unkeyed, "program_not_keyed_in"),
        (over & ~marks.has_sensor, "no_sensor"),
        (uneven & ~over, POOR_UNIFORMITY),
        (under & marks.is_bound_by_rules, "rule_limits"),
    )
    # without a cause only the fact is named
    explained = np.logical_or.reduce([mask for mask, _ in causes])
    tests = (*causes, (over & ~explained, "over_need"), (under & ~explained, "under_need"))
    found = []
    for mask, name in tests:
        if name != FLAGGED:
            found.append((name, mask))
            continue
        faults = sorted(set(marks.flag_cause[mask].tolist()))
        found += [(f"{name}:{fault}", mask & (marks.flag_cause == fault)) for fault in faults]
    return found
