"""Guesses for a person to check: which of the book's kinds and columns a file's names may mean."""

from __future__ import annotations

import difflib
from typing import Final

from sites.importing.book.kinds import KINDS, kind_named
from sites.importing.book.layout import BY_COLUMN, LayerLayout, columns_of, full_name

SYNONYMS: Final[dict[str, tuple[str, ...]]] = {
    "site": (
        "site id",
        "site code",
        "property",
        "property id",
        "account",
        "account no",
        "job",
        "folder",
        "lot",
    ),
    "name": ("site name", "label", "title", "description", "garden"),
    "address": ("street", "street address", "site address"),
    "customer": ("client", "owner", "customer name", "homeowner"),
    "phone": ("telephone", "tel", "mobile"),
    "email": ("e mail", "mail"),
    "access_notes": ("access", "notes", "remarks"),
    "gate_code": ("gate",),
    "controller": ("clock", "timer", "controller id", "ctrl"),
    "station": ("station no", "zone no", "zone number", "zone", "nr", "valve", "stn"),
    "station_count": ("stations", "zones"),
    "plant": ("plants", "planting", "cover", "vegetation", "plant type"),
    "head": ("heads", "head type", "emitter", "sprinkler type"),
    "area_m2": ("area", "area sqm", "shape area"),
    "precipitation_rate_mm_h": ("precipitation rate", "pr", "precip rate"),
    "flow_l_min": ("flow",),
    "flow_limit_l_min": ("flow limit", "max flow", "supply flow"),
    "stations_at_once": ("stations at once", "valves at once"),
    "distribution_uniformity": ("uniformity", "du lq"),
    "soil": ("soil type", "soil texture"),
    "slope_pct": ("slope",),
    "sun": ("exposure", "shade"),
    "longitude": ("lon", "lng", "long", "x"),
    "latitude": ("lat", "y"),
    "type": ("structure type", "class"),
    "timezone": ("time zone", "tz"),
    "date": ("day", "on", "datum"),
    "start": ("from", "period start", "begin", "beginn", "von"),
    "end": ("to", "until", "period end", "bis"),
    "starts_bypassed": ("bypassed", "bypasses", "blocked", "blocked starts"),
    "starts_scheduled": ("scheduled", "starts planned"),
    "volume": ("usage", "use", "consumption", "quantity", "gallons", "verbrauch"),
    "unit": ("units", "uom", "einheit"),
    "meter_id": ("meter no", "meter number", "serial"),
    "read_at": ("read date", "read on", "reading date", "time"),
    "reading": ("read", "register", "meter reading"),
    "program": ("prog", "letter"),
    "days": ("water days", "run days"),
    "starts": ("start times", "start time"),
    "run_min": ("minutes", "run time", "runtime", "duration", "run minutes"),
    "as_of": ("set on", "as of", "valid from"),
    "tmin_c": ("tmin", "low", "min temp", "minimum temperature"),
    "tmax_c": ("tmax", "high", "max temp", "maximum temperature"),
    "rain_mm": ("rain", "precipitation", "precip"),
    "wind_m_s": ("wind", "wind speed"),
    "elevation_m": ("elevation", "altitude"),
    "location": ("station name", "station id"),
}
_CLOSE: Final = 0.84


def guessed_layout(name: str, columns: tuple[str, ...], shapes: frozenset[str]) -> LayerLayout:
    """A layout for a person to look over; columns that nothing resembles are left out.

    Parameters
    ----------
    name
        Name of the layer.
    columns
        Names of its columns, as the file writes them.
    shapes
        Types of its shapes; empty for a table.
    """
    if any(full_name(column) == "kind" for column in columns):
        kind = BY_COLUMN
    else:
        kind = kind_named(name) or _kind_of(columns, shapes)
    return LayerLayout(kind, meant_columns(columns, columns_of(kind)))


def meant_columns(columns: tuple[str, ...], ours: tuple[str, ...]) -> dict[str, str]:
    """The file's columns that may mean ones of ours, each once; sure ones first.

    Parameters
    ----------
    columns
        Names of the file's columns.
    ours
        Columns that they may be.
    """
    taken: dict[str, str] = {}
    for sure in (True, False):
        for column in columns:
            found = "" if column in taken else column_named(column, ours, sure=sure)
            if found and found not in taken.values():
                taken[column] = found
    return taken


def _kind_of(columns: tuple[str, ...], shapes: frozenset[str]) -> str:
    """The kind whose columns the names resemble most, among those that may have the shapes."""
    best, score = "", 0
    for kind in KINDS.values():
        if shapes and not shapes & kind.shapes:
            continue
        found = {
            column_named(column, tuple(c.name for c in kind.columns), sure=False) for column in columns
        } - {""}
        if len(found) > score:
            best, score = kind.name, len(found)
    return best


def column_named(column: str, ours: tuple[str, ...], *, sure: bool) -> str:
    """The book's column of a name: the same word, one that means it, or, unless sure, one much like it.

    Parameters
    ----------
    column
        Name of a column of the file.
    ours
        Columns that it may be.
    sure
        Whether a name that only resembles one is left out.
    """
    if full_name(column) in ours:
        return full_name(column)
    plain = _plain(column)
    for name in ours:
        if plain == _plain(name) or plain in SYNONYMS.get(name, ()):
            return name
    if sure:
        return ""
    words = {_plain(word): name for name in ours for word in (name, *SYNONYMS.get(name, ())) if len(word) > 3}
    close = difflib.get_close_matches(plain, list(words), n=1, cutoff=_CLOSE)
    return words[close[0]] if close else ""


def _plain(name: str) -> str:
    """A name in small letters, its words parted by single blanks."""
    return " ".join("".join(sign if sign.isalnum() else " " for sign in name.lower()).split())
