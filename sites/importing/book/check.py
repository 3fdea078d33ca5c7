"""Checks of a book across its rows: what must be there, once, and in agreement."""

from __future__ import annotations

from datetime import date
from typing import Final

from sites.calc.soil import FIELD_CAPACITY_KPA
from sites.importing.book.items import SHAPE_KEYED, Book, BookItem, Key, check_day
from sites.importing.book.known import KnownBook
from weather.importing.repeated import also

_OF_SITE: Final = ("valve_box", "wire", "structure", "water_meter", "shutoff", "backflow_preventer")


def check_rows(book: Book, known: KnownBook, *, today: date) -> None:
    """Refuse what stands twice, refers to nothing, or contradicts itself or the book; parents first.

    Parameters
    ----------
    book
        Items whose own cells and shapes are sound.
    known
        The book before this file.
    today
        Days of installation after it are refused.
    """
    for kind in book.items:
        _once_each(book, kind)
    sites = set(known.sites) | {item.site for item in book.good("site")}
    for item in book.good("site"):
        _visiting_hours(book, item)
    _known_rules(book, known)
    for kind in ("controller", *_OF_SITE):
        for item in book.good(kind):
            if item.site not in sites:
                book.refuse(item, "site", item.site, _site_wanted(book, item.site))
    _check_controllers(book, known)
    _check_zones(book, known)
    _check_sensors(book, known, today)
    for item in book.good("wire"):
        conductors, spare = item.number("conductors"), item.number("spare")
        if conductors is not None and spare is not None and spare > conductors:
            book.refuse(item, "spare", f"{spare:g}", f"at most the {conductors:g} conductors")


def _once_each(book: Book, kind: str) -> None:
    """Each thing once: of a name that stands twice no row is taken, whatever else is wrong with one."""
    if kind in SHAPE_KEYED:
        _drawn_once(book, kind)
        return
    rows: dict[Key, list[int]] = {}
    for key, row in [*((item.key, item.row) for item in book.items[kind]), *book.broken[kind]]:
        rows.setdefault(key, []).append(row)
    column = {"zone": "station", "valve_box": "name", "sensor": "controller"}.get(kind, kind)
    once = "one sensor a controller" if kind == "sensor" else f"each {kind} once"
    for item in book.good(kind):
        if len(rows[item.key]) > 1:
            book.refuse(item, column, item.key[-1], f"{once} ({also(rows[item.key], item.row)})")


def _drawn_once(book: Book, kind: str) -> None:
    """A shape drawn twice is taken once, with a word."""
    seen: dict[Key, BookItem] = {}
    for item in book.good(kind):
        first = seen.setdefault(item.key, item)
        if first is not item:
            item.is_refused = True
            book.warnings.append(f"{item.label()} is drawn twice and was taken once (also row {first.row})")


def _visiting_hours(book: Book, item: BookItem) -> None:
    """Access hours in order."""
    opens, closes = item.values.get("visit_from"), item.values.get("visit_to")
    if opens is not None and closes is not None and not str(opens) < str(closes):
        book.refuse(item, "visit_to", closes, f"a time after visit_from ({opens})")


def _known_rules(book: Book, known: KnownBook) -> None:
    """Say which rule sets are still to come: without them no program can be told to be lawful."""
    wanted: dict[str, int] = {}
    for item in book.good("site"):
        code = str(item.values.get("rule_set") or "")
        if code and code not in known.rule_sets:
            wanted[code] = wanted.get(code, 0) + 1
    for code, count in sorted(wanted.items()):
        book.warnings.append(
            f"rule set {code} ({count} sites) is not in the book yet: no program is issued there before it is"
        )


def _site_wanted(book: Book, code: str) -> str:
    """What a row without a site was expected to name; says so where the site's own row was refused."""
    rows = [item.row for item in book.items["site"] if item.site == code]
    return f"a site of the book (row {rows[0]} was refused)" if rows else "a site of the book"


def _check_controllers(book: Book, known: KnownBook) -> None:
    """Enough stations for the zones that the book holds, and a sensor only where one can block."""
    top: dict[tuple[str, str], int] = {}
    for site, controller, station in known.zones:
        top[site, controller] = max(station, top.get((site, controller), 0))
    sensed = known.sensors | {item.controller for item in book.good("sensor")}
    for item in book.good("controller"):
        stations = item.number("station_count") or 0
        highest = top.get(item.controller, 0)
        if stations < highest:
            expected = f"at least {highest}, the highest station with a zone in the book"
            book.refuse(item, "station_count", f"{stations:g}", expected)
        if item.controller in sensed:
            if "governed" not in item.given:
                item.values["governed"] = True
            elif not item.values["governed"]:
                book.warnings.append(f"{item.label()} has a sensor, yet is said not to be governed by one")


def _station_counts(book: Book, known: KnownBook) -> dict[tuple[str, str], int]:
    """Stations of each controller, after this file."""
    counts = {key: controller.station_count for key, controller in known.controllers.items()}
    counts |= {item.controller: int(item.number("station_count") or 0) for item in book.good("controller")}
    return counts


def _check_zones(book: Book, known: KnownBook) -> None:
    """Zones of known controllers, at stations that these have."""
    counts = _station_counts(book, known)
    refused = {item.key for item in book.items["controller"] if item.is_refused}
    for item in book.good("zone"):
        _on_a_station(book, item, counts, refused)


def _on_a_station(
    book: Book,
    item: BookItem,
    counts: dict[tuple[str, str], int],
    refused: set[Key],
) -> None:
    """Refuse an item of an unknown controller, or of a station that it does not have."""
    if item.controller not in counts:
        site, code = item.controller
        expected = f"a controller of site {site}"
        if item.controller in refused:
            expected += "; its own row was refused"
        book.refuse(item, "controller", code, expected)
    elif item.station > counts[item.controller]:
        book.refuse(item, "station", item.station, f"a station up to {counts[item.controller]}")


def _check_sensors(book: Book, known: KnownBook, today: date) -> None:
    """Sensors and sprinklers in zones of the book; thresholds that can work."""
    counts = _station_counts(book, known)
    refused = {item.key for item in book.items["controller"] if item.is_refused}
    zones = set(known.zones) | {(*item.controller, item.station) for item in book.good("zone")}
    for item in book.good("sensor", "sprinkler"):
        _on_a_station(book, item, counts, refused)
        if not item.is_refused and (*item.controller, item.station) not in zones:
            book.refuse(item, "station", item.station, "a station that has a zone in the book")
    for item in book.good("sensor"):
        check_day(book, item, "installed_on", today)
        _check_threshold(book, item)


def _check_threshold(book: Book, item: BookItem) -> None:
    """A threshold drier than field capacity, and one that the unit offers."""
    threshold = item.number("threshold_kpa")
    if threshold is None:
        return
    if threshold <= FIELD_CAPACITY_KPA:
        expected = (
            f"more than {FIELD_CAPACITY_KPA:g} kPa, the tension at field capacity: "
            "the soil drains to it by itself, so a wetter setting would never block a start"
        )
        book.refuse(item, "threshold_kpa", f"{threshold:g}", expected)
    steps = [float(step) for step in str(item.values.get("threshold_steps_kpa") or "").split(";") if step]
    if steps and all(abs(threshold - step) > 1e-6 for step in steps):
        listed = ", ".join(f"{step:g}" for step in steps)
        book.refuse(item, "threshold_kpa", f"{threshold:g}", f"one of the unit's settings: {listed}")
