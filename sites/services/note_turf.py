"""What a visit saw of the turf, by station where it said so: for the threshold advice, or for the margins."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.db import transaction

from sites.models import Change, Controller, Sensor, Zone
from sites.services.history import ChangeNote, record_changes

# What a visit does to the demand that a zone is planned with, where no sensor speaks for the zone itself [1].
TURF_FACTOR: Final = {"evenly_dry": 1.1, "soggy": 0.9}
LEAST_FACTOR: Final = 0.7
MOST_FACTOR: Final = 1.5
# A factor that was moved is held for so long: its water has to be seen in the turf first [d].
HELD_DAYS: Final = 14


class UnknownStation(ValueError):
    """A station that no controller in question waters; the message names it."""


@dataclass(frozen=True, slots=True)
class TurfNoted:
    """What was noted: for how many controllers, and stations whose factor is held for now."""

    controllers: int
    held: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Seen:
    """What a visit saw."""

    turf: str
    dry: frozenset[int]
    soggy: frozenset[int]
    on: date

    def of(self, station: int) -> str:
        """What was seen of one station's zone, empty where it was not named."""
        return "evenly_dry" if station in self.dry else "soggy" if station in self.soggy else ""


@transaction.atomic
def note_turf(
    *,
    site_id: int,
    controller_id: int | None,
    turf: str,
    on: date,
    by: str,
    at: datetime,
    dry: Collection[int] = (),
    soggy: Collection[int] = (),
) -> TurfNoted:
    """Note what a visit saw of the turf.

    A sensor closes the loop for its own zone: what is seen there, or of the garden as a whole, is a question
    of the threshold, and its advice hears of it. Every other zone runs on what the book says of its rate and
    its plants: seen dry, it is planned with a tenth more from then on, seen soggy, with a tenth less, and a
    second step the same way waits for two weeks. It is the only feedback there is. By the clock alone that
    holds for all zones, and for the lawns where the visit named no station.

    Parameters
    ----------
    site_id
        The garden.
    controller_id
        Controller that was looked at; None: all of the garden.
    turf
        `good`, `evenly_dry`, `patchy`, `soggy`, or empty where only stations were named.
    on
        Day of the visit.
    by, at
        Who, and when.
    dry, soggy
        Stations whose zones were seen evenly dry, or soggy.

    Raises
    ------
    UnknownStation
        Where a station is named that none of these controllers waters.
    """
    seen = _Seen(turf, frozenset(dry), frozenset(soggy), on)
    controllers = Controller.objects.filter(site_id=site_id).select_related("site", "sensor")
    if controller_id is not None:
        controllers = controllers.filter(pk=controller_id)
    rows = list(controllers.order_by("code"))
    _refuse_unknown(rows, seen)
    notes, held = [], []
    for row in rows:
        before, after, waits = _noted(row, seen)
        held += waits
        if before != after:
            key = f"{row.site.code}/{row.code}"
            words = f"turf {turf} at a visit" if turf else "turf of stations at a visit"
            notes.append(ChangeNote("turf", key, row.site.code, before, after, words))
    record_changes(notes=notes, by=by, at=at)
    return TurfNoted(len(rows), tuple(held))


def _refuse_unknown(rows: list[Controller], seen: _Seen) -> None:
    """Stations must be watered, and named once; with several controllers somebody must say of which."""
    named = seen.dry | seen.soggy
    if not named:
        return
    if len(rows) > 1:
        raise UnknownStation("say at which controller, by its need")
    watered = set(Zone.objects.filter(controller__in=rows).values_list("station", flat=True))
    for station in sorted(named - watered):
        raise UnknownStation(f"station {station} waters nothing here")
    for station in sorted(seen.dry & seen.soggy):
        raise UnknownStation(f"station {station} cannot be dry and soggy at once")


def _noted(row: Controller, seen: _Seen) -> tuple[dict[str, object], dict[str, object], list[int]]:
    """What the book says before and after, and the stations that are held."""
    sensor = getattr(row, "sensor", None)
    before: dict[str, object] = {}
    after: dict[str, object] = {}
    named = bool(seen.dry or seen.soggy)
    if row.governed and sensor is not None:
        # Stations that were named narrow down what was seen evenly dry or soggy.
        whole = "" if named and seen.turf in TURF_FACTOR else seen.turf
        turf = seen.of(sensor.station) or whole
        if turf:
            Sensor.objects.filter(pk=sensor.pk).update(turf_seen=turf, turf_seen_on=seen.on)
            before, after = {"turf": sensor.turf_seen}, {"turf": turf}
        moved = {station: seen.of(station) for station in seen.dry | seen.soggy if station != sensor.station}
    elif named:
        moved = {station: seen.of(station) for station in seen.dry | seen.soggy}
    else:
        lawns = Zone.objects.filter(controller=row, plant__endswith="turf").values_list("station", flat=True)
        moved = dict.fromkeys(lawns, seen.turf)
    held = _move_margins(
        row, {at: TURF_FACTOR.get(word, 1.0) for at, word in moved.items()}, seen.on, before, after
    )
    return before, after, held


def _move_margins(
    row: Controller, factors: dict[int, float], on: date, before: dict[str, object], after: dict[str, object]
) -> list[int]:
    """Move the zones' factors on demand, noted by station; the stations that are held."""
    recent = _recently_moved(row, on) if any(factor != 1.0 for factor in factors.values()) else {}
    held = []
    for zone in Zone.objects.filter(controller=row, station__in=list(factors)).order_by("station"):
        factor = factors[zone.station]
        new = round(min(max(zone.margin_factor * factor, LEAST_FACTOR), MOST_FACTOR), 3)
        if recent.get(str(zone.station)) == (zone.margin_factor, factor > 1.0) and factor != 1.0:
            held.append(zone.station)
        elif new != zone.margin_factor:
            before[str(zone.station)], after[str(zone.station)] = zone.margin_factor, new
            Zone.objects.filter(pk=zone.pk).update(margin_factor=new)
    return held


def _recently_moved(row: Controller, on: date) -> dict[str, tuple[object, bool]]:
    """Factors that visits of the last two weeks moved, and whether upwards, by station."""
    found: dict[str, tuple[object, bool]] = {}
    changes = Change.objects.filter(kind="turf", key=f"{row.site.code}/{row.code}").order_by("at")
    for at, before, after in changes.values_list("at", "before", "after"):
        if on - timedelta(days=HELD_DAYS) < at.date() <= on:
            was = before or {}
            moved = {name: value for name, value in (after or {}).items() if name.isdigit()}
            found.update({name: (value, value > was.get(name, 1.0)) for name, value in moved.items()})
    return found
