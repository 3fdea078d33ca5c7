"""Guesses for a person to check: which of the book's kinds and columns a file's names may mean."""

from __future__ import annotations

import difflib
from typing import Final

from sites.importing.book_layout import BY_COLUMN, LayerLayout, columns_of, full_name
from sites.importing.kinds import KINDS, kind_named

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
    "distribution_uniformity": ("uniformity", "du lq"),
    "soil": ("soil type", "soil texture"),
    "slope_pct": ("slope",),
    "sun": ("exposure", "shade"),
    "longitude": ("lon", "lng", "long", "x"),
    "latitude": ("lat", "y"),
    "type": ("structure type", "class"),
    "timezone": ("time zone", "tz"),
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
    ours = columns_of(kind)
    taken: dict[str, str] = {}
    for sure in (True, False):
        for column in columns:
            found = "" if column in taken else _column_of(column, ours, sure=sure)
            if found and found not in taken.values():
                taken[column] = found
    return LayerLayout(kind, taken)


def _kind_of(columns: tuple[str, ...], shapes: frozenset[str]) -> str:
    """The kind whose columns the names resemble most, among those that may have the shapes."""
    best, score = "", 0
    for kind in KINDS.values():
        if shapes and not shapes & kind.shapes:
            continue
        found = {
            _column_of(column, tuple(c.name for c in kind.columns), sure=False) for column in columns
        } - {""}
        if len(found) > score:
            best, score = kind.name, len(found)
    return best


def _column_of(column: str, ours: tuple[str, ...], *, sure: bool) -> str:
    """The book's column of a name: the same word, one that means it, or, unless sure, one much like it."""
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
