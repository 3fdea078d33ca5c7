"""Calendars as text (RFC 5545): folded lines, escaped texts, time zones with their changes of the clock."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

PRODUCT: Final = "-//Rootround//Routes//EN"
# A line has at most so many octets, its end not counted (RFC 5545, 3.1).
LONGEST_OCTETS: Final = 75
STAMP: Final = "%Y%m%dT%H%M%S"


@dataclass(frozen=True, slots=True)
class Event:
    """One entry; times are aware, in the zone in which they shall be read.

    Parameters
    ----------
    uid
        The same for the same thing in every calendar that is ever made of it.
    sequence
        Counts its changes.
    stamp
        When this state of it was made.
    start, end
        When it is.
    summary, location, description
        Texts of any content.
    latitude, longitude
        Where it is [deg]; None: not known.
    is_confirmed
        False: tentative.
    """

    uid: str
    sequence: int
    stamp: datetime
    start: datetime
    end: datetime
    summary: str
    location: str = ""
    description: str = ""
    latitude: float | None = None
    longitude: float | None = None
    is_confirmed: bool = True


def calendar_text(*, name: str, events: Sequence[Event]) -> str:
    """A whole calendar, with each time zone that its events use.

    Parameters
    ----------
    name
        What a program may call it.
    events
        Its entries.
    """
    zones: dict[str, tuple[ZoneInfo, datetime, datetime]] = {}
    for event in events:
        zone = event.start.tzinfo
        if isinstance(zone, ZoneInfo) and zone.key != "UTC":
            _, first, last = zones.get(zone.key, (zone, event.start, event.end))
            zones[zone.key] = (zone, min(first, event.start), max(last, event.end))
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}", "CALSCALE:GREGORIAN", "METHOD:PUBLISH"]
    lines.append(f"X-WR-CALNAME:{escape(name)}")
    for key in sorted(zones):
        lines += _zone_lines(*zones[key])
    for event in events:
        lines += _event_lines(event)
    lines.append("END:VCALENDAR")
    return "".join(f"{fold(line)}\r\n" for line in lines)


def escape(text: str) -> str:
    """A text as RFC 5545 (3.3.11) writes it; control characters but line ends are dropped."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    plain = "".join(c for c in plain if c >= " " or c in "\n\t")
    for raw, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        plain = plain.replace(raw, written)
    return plain.replace("\x7f", "")


def fold(line: str) -> str:
    """A line in pieces of at most 75 octets, never inside a character."""
    pieces: list[str] = []
    piece, octets = "", 0
    for character in line:
        size = len(character.encode())
        if octets + size > LONGEST_OCTETS:
            pieces.append(piece)
            piece, octets = " ", 1
        piece += character
        octets += size
    return "\r\n".join([*pieces, piece])


def _event_lines(event: Event) -> Iterator[str]:
    """One entry."""
    yield "BEGIN:VEVENT"
    yield f"UID:{event.uid}"
    yield f"SEQUENCE:{event.sequence}"
    yield f"DTSTAMP:{_utc(event.stamp)}"
    yield _moment("DTSTART", event.start)
    yield _moment("DTEND", event.end)
    yield f"SUMMARY:{escape(event.summary)}"
    if event.location:
        yield f"LOCATION:{escape(event.location)}"
    if event.description:
        yield f"DESCRIPTION:{escape(event.description)}"
    if event.latitude is not None and event.longitude is not None:
        yield f"GEO:{event.latitude:.6f};{event.longitude:.6f}"
    yield f"STATUS:{'CONFIRMED' if event.is_confirmed else 'TENTATIVE'}"
    yield "TRANSP:OPAQUE"
    yield "END:VEVENT"


def _moment(name: str, moment: datetime) -> str:
    """A time on the wall of its zone; the second pass of an hour that comes twice can only be told in UTC."""
    zone = moment.tzinfo
    if not isinstance(zone, ZoneInfo) or zone.key == "UTC" or moment.fold:
        return f"{name}:{_utc(moment)}"
    return f"{name};TZID={zone.key}:{moment:{STAMP}}"


def _utc(moment: datetime) -> str:
    """A moment in UTC."""
    return f"{moment.astimezone(UTC):{STAMP}}Z"


def _zone_lines(zone: ZoneInfo, first: datetime, last: datetime) -> Iterator[str]:
    """A time zone with each change of its clock from before the first event to after the last."""
    start = (first - timedelta(days=400)).astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    changes = list(_changes(zone, start, last.astimezone(UTC) + timedelta(days=1)))
    yield "BEGIN:VTIMEZONE"
    yield f"TZID:{zone.key}"
    # What held before the first change, told as a change of its own, so that no moment is without rule.
    yield from _observance(zone, start, start + timedelta(seconds=1))
    for change in changes:
        yield from _observance(zone, change, change)
    yield "END:VTIMEZONE"


def _changes(zone: ZoneInfo, start: datetime, end: datetime) -> Iterable[datetime]:
    """Moments [UTC] at which the zone's offset changes, to the second."""
    day = start
    while day < end:
        further = day + timedelta(days=1)
        low, high = day, further
        if low.astimezone(zone).utcoffset() != high.astimezone(zone).utcoffset():
            while high - low > timedelta(seconds=1):
                middle = (low + (high - low) / 2).replace(microsecond=0)
                same = middle.astimezone(zone).utcoffset() == low.astimezone(zone).utcoffset()
                low, high = (middle, high) if same else (low, middle)
            yield high
        day = further


def _observance(zone: ZoneInfo, change: datetime, at: datetime) -> Iterator[str]:
    """What the clock shows from a change on; its start is told by the clock before it."""
    before, after = (change - timedelta(seconds=1)).astimezone(zone), at.astimezone(zone)
    kind = "DAYLIGHT" if after.dst() else "STANDARD"
    old = before.utcoffset() or timedelta()
    yield f"BEGIN:{kind}"
    yield f"DTSTART:{(change + old).replace(tzinfo=None):{STAMP}}"
    yield f"TZOFFSETFROM:{_offset(old)}"
    yield f"TZOFFSETTO:{_offset(after.utcoffset() or timedelta())}"
    yield f"TZNAME:{escape(after.tzname() or zone.key)}"
    yield f"END:{kind}"


def _offset(offset: timedelta) -> str:
    """An offset from UTC as RFC 5545 (3.3.14) writes it."""
    seconds = round(offset.total_seconds())
    hours, rest = divmod(abs(seconds), 3600)
    minutes, left = divmod(rest, 60)
    return f"{'-' if seconds < 0 else '+'}{hours:02}{minutes:02}" + (f"{left:02}" if left else "")
