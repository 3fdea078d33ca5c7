"""Words of somebody's file that stand for words of the book, and guesses for a person to check."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Final

from weather.importing.rows import CellError, Choice, Column, truth

TRUTH: Final = ("true", "false")
_CLOSE: Final = 0.75
SYNONYMS: Final[dict[str, tuple[str, ...]]] = {
    "fixed_spray": ("spray", "sprays", "pop up", "popup", "sprüher", "sprühdüse", "sprayhead"),
    "rotor": ("rotors", "gear drive", "getrieberegner", "regner"),
    "rotary_nozzle": ("rotary", "rotator", "rotationsdüse"),
    "dripline": ("drip", "tropfrohr", "tropf", "drip line", "inline drip"),
    "bubbler": ("bubblers", "flood"),
    "cool_turf": ("cool season turf", "bluegrass", "fescue", "ryegrass", "bentgrass"),
    "warm_turf": ("warm season turf", "bermuda", "bermudagrass", "zoysia", "st augustine", "buffalo grass"),
    "annuals": ("flowers", "flower bed", "blumen", "bedding"),
    "shrubs": ("shrub", "bushes", "hedge", "sträucher", "hecke"),
    "groundcover": ("ground cover", "bodendecker"),
    "trees": ("tree", "bäume", "baum"),
    "desert": ("xeric", "native desert", "cactus"),
    "mixed": ("mix", "mixed planting", "gemischt"),
    "full": ("full sun", "sunny", "sonne", "sun"),
    "part": ("part sun", "part shade", "partial", "halbschatten"),
    "shade": ("shady", "schatten", "full shade"),
    "building": ("house", "garage", "shed", "haus"),
    "paving": ("driveway", "patio", "walk", "sidewalk", "einfahrt", "terrasse"),
    "true": ("yes", "y", "x", "ja", "on"),
    "false": ("no", "n", "nein", "off"),
    "gal": ("gallon", "gallons", "us gal"),
    "kgal": ("1000 gal", "thousand gallons"),
    "m3": ("cubic metres", "cubic meters", "m³", "cbm"),
    "l": ("litre", "litres", "liter", "liters"),
    "ccf": ("hcf", "100 cf", "hundred cubic feet"),
}
"""What else a word of the book is called in files; lawn alone is none: it may be of either season."""


def words_of(column: Column) -> tuple[str, ...]:
    """Words that a column may have; none where it holds anything else.

    Parameters
    ----------
    column
        A column of the book or of a table.
    """
    if column.parse is truth:
        return TRUTH
    return tuple(word for word in column.parse.words if word) if isinstance(column.parse, Choice) else ()


def foreign_words(column: Column, words: Iterable[str]) -> tuple[str, ...]:
    """Those words of a file that the column does not take.

    Parameters
    ----------
    column
        The book's column.
    words
        Words of the file.
    """
    return tuple(word for word in words if not _is_taken(column, word))


def guessed_word(column: Column, word: str) -> str:
    """The book's word that a file's may mean; empty where nothing resembles it.

    Parameters
    ----------
    column
        The book's column.
    word
        As the file writes it.
    """
    may_be = words_of(column)
    plain = _plain(word)
    for ours in may_be:
        if plain == _plain(ours) or plain in SYNONYMS.get(ours, ()):
            return ours
    named = {_plain(ours): ours for ours in may_be}
    named |= {name: ours for ours in may_be for name in SYNONYMS.get(ours, ()) if len(name) > 3}
    close = difflib.get_close_matches(plain, list(named), n=1, cutoff=_CLOSE)
    return named[close[0]] if close else ""


def _is_taken(column: Column, word: str) -> bool:
    """Whether a column takes a word as it is."""
    try:
        column.parse(word.strip())
    except CellError:
        return False
    return True


def _plain(word: str) -> str:
    """A word in small letters, its parts by single blanks."""
    return " ".join("".join(sign if sign.isalnum() else " " for sign in word.lower()).split())
