"""Which days a technician works."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, timedelta
from typing import Final

WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
NAMES: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def off_words(workdays: str, days_off: str, day: date) -> str:
    """Why somebody is not at work on a day, in words; empty: at work [-].

    Parameters
    ----------
    workdays
        Days of the week, as `mon,tue` or `mon;tue` [-].
    days_off
        ISO days, `;`-separated [-].
    day
        The day [-].
    """
    if day.isoformat() in {text.strip() for text in days_off.replace(",", ";").split(";")}:
        return "day off"
    usual = {part.strip().lower()[:3] for part in workdays.replace(";", ",").split(",")}
    return "" if WEEKDAYS[day.weekday()] in usual else f"not at work on {NAMES[day.weekday()]}"


def days_with_work(
    days: Sequence[date], people: Sequence[tuple[str, str]], further: Collection[date]
) -> tuple[date, ...]:
    """Days on which a company's week is looked at: Monday to Friday, and each weekend day with work [-].

    Parameters
    ----------
    days
        Days to choose from [-].
    people
        Workdays and days off of each person [-].
    further
        Days that count in any case: those with a route [-].
    """
    saturday = WEEKDAYS.index("sat")
    return tuple(
        day
        for day in days
        if day.weekday() < saturday
        or day in further
        or any(not off_words(workdays, days_off, day) for workdays, days_off in people)
    )


def days_words(workdays: str) -> str:
    """Working days in words, three and more in a row as a span: `Mon to Fri`, `Mon, Wed` [-].

    Parameters
    ----------
    workdays
        Days of the week, as `mon,tue` or `mon;tue` [-].
    """
    usual = {part.strip().lower()[:3] for part in workdays.replace(";", ",").split(",")}
    spans: list[list[str]] = []
    for place, short in enumerate(WEEKDAYS):
        if short not in usual:
            continue
        if place and WEEKDAYS[place - 1] in usual:
            spans[-1].append(short.capitalize())
        else:
            spans.append([short.capitalize()])
    return ", ".join(f"{span[0]} to {span[-1]}" if len(span) > 2 else ", ".join(span) for span in spans)


def monday_of(day: date) -> date:
    """The Monday of a day's week [-].

    Parameters
    ----------
    day
        Any day [-].
    """
    return day - timedelta(days=day.weekday())
