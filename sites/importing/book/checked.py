"""A file's items after every check: read, mended where that is accepted, and held against the book."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from sites.importing.book.check import check_rows
from sites.importing.book.items import Book, BookItem, parse_book, settle_shapes
from sites.importing.book.known import KnownBook
from sites.importing.book.layout import BookLayout
from sites.importing.book.offers import Repair, RepairChoice, told
from sites.importing.book.repairs import mend_neighbours, mend_shapes
from sites.importing.book.shapes import check_areas, check_shapes, look_at_ground
from sites.importing.telling import Tell, tell_nobody


def checked_book(
    path: Path,
    known: KnownBook,
    *,
    today: date,
    timezone: str,
    layout: BookLayout | None,
    choice: RepairChoice,
    name: str,
    tell: Tell = tell_nobody,
) -> tuple[Book, list[Repair]]:
    """A file's items after every check against each other and against the book before.

    Parameters
    ----------
    path
        The file.
    known
        The book before.
    today
        Days of installation after it are refused.
    timezone
        The company's time zone.
    layout, choice, name, tell
        As of `look_at_book`.
    """
    tell("reading the file", 0.0)
    book = parse_book(path, layout=layout, name=name)
    tell("looking at single shapes", 0.3)
    repairs = mend_shapes(book, known, choice=choice, timezone=timezone)
    settle_shapes(book)
    tell("looking where shapes lie", 0.5)
    check_shapes(book, known, timezone=timezone)
    tell("looking at zones beside each other", 0.6)
    repairs += mend_neighbours(book, known, choice=choice)
    book.warnings.extend(told(repairs))
    tell("checking rows against the book", 0.75)
    check_areas(book, known)
    check_rows(book, known, today=today)
    look_at_ground(book, known)
    _tell_of_placeless(book, known)
    _let_sensors_govern(book, known)
    return book, repairs


def _tell_of_placeless(book: Book, known: KnownBook) -> None:
    """Say which sites have no place yet."""
    placeless = [
        item.site
        for item in book.good("site")
        if item.shape is None and ((stored := known.sites.get(item.site)) is None or stored.longitude is None)
    ]
    if placeless:
        named = ", ".join(placeless[:5]) + (" and others" if len(placeless) > 5 else "")
        book.warnings.append(f"{len(placeless)} sites have no place, hence no weather or routes: {named}")


def _let_sensors_govern(book: Book, known: KnownBook) -> None:
    """A sensor that arrives without its controller governs it, unless the book says that none does."""
    here = {item.controller for item in book.good("controller")}
    for item in book.good("sensor"):
        stored = known.controllers.get(item.controller)
        if stored is None or item.controller in here or stored.governed:
            continue
        if "governed" in stored.assumed:
            site, code = item.controller
            values: dict[str, object] = {"site": site, "controller": code, "governed": True}
            governs = BookItem(item.row, item.layer, "controller", item.controller, values, frozenset(), None)
            book.items["controller"].append(governs)
        else:
            book.warnings.append(f"{item.label()}: the book says that no sensor governs this controller")
