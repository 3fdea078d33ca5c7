"""Exchange of two station wires: the numbers change places in book, map, sheet and programs, in one step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import Case, Max, QuerySet, Value, When

from sites.importing.drawing.drawing import EXCHANGE
from sites.models import (
    Change,
    Controller,
    ProgramLine,
    ProgramSet,
    Recommendation,
    RecommendationLine,
    Sensor,
    Site,
    Zone,
)
from sites.models.choices import ProgramStatus, StationOrder
from sites.services.history import ChangeNote, record_changes
from sites.services.staleness import mark_sites_stale

_WAITING: Final = 20_000
_LINE: Final = ("letter", "days", "starts", "station", "run_min", "run_order", "seasonal_adjust_pct")


class CannotExchange(ValueError):
    """The two stations cannot change places; the message says why."""


@dataclass(frozen=True, slots=True)
class StationsExchanged:
    """Which numbers changed places, and the entry that can be undone."""

    controller_code: str
    first: int
    second: int
    change_id: int


@transaction.atomic
def exchange_stations(
    *,
    controller_id: int,
    first: int,
    second: int,
    minutes_keyed: bool,
    by: str,
    at: datetime,
    today: date,
) -> StationsExchanged:
    """Note that the wires of two stations were exchanged at the terminals.

    The zones take each other's number; a sensor goes with its zone. What the programs said before this day
    is told with the new numbers, so that the past still waters the same zones. From this day on the program
    holds the minutes of each zone under its new number, or as the timer has them where nobody keyed them in.

    Parameters
    ----------
    controller_id
        The controller.
    first, second
        The two stations; both have a zone, or one of them has.
    minutes_keyed
        Whether minutes and starts were exchanged in the timer as well.
    by, at
        Who and when, for the history.
    today
        Day of the exchange.
    """
    controller = Controller.objects.select_for_update().select_related("site").get(pk=controller_id)
    _check(controller, first, second)
    Site.objects.select_for_update().get(pk=controller.site_id)
    kept = _setting_on(controller, today, first, second, minutes_keyed=minutes_keyed)
    _renumber(controller, first, second)
    if kept["program_set"]:
        kept["lines_after"] = _lines(int(str(kept["program_set"])))
    kept["wire_moves"] = _settle_wire_moves(controller)
    note = ChangeNote(
        kind=EXCHANGE,
        key=f"{controller.site.code}/{controller.code}",
        site_code=controller.site.code,
        before={"first": first, "second": second} | kept,
        after={"first": second, "second": first, "minutes_keyed": minutes_keyed},
        reason="station wires exchanged at the terminals",
        thing_id=controller.pk,
    )
    record_changes(notes=[note], by=by, at=at)
    mark_sites_stale(since={controller.site_id: today})
    newest = Change.objects.filter(kind=EXCHANGE, thing_id=controller.pk).aggregate(top=Max("pk"))["top"]
    return StationsExchanged(controller.code, first, second, newest or 0)


@transaction.atomic
def undo_exchange(*, change_id: int, by: str, at: datetime, today: date) -> StationsExchanged:
    """Take an exchange back: the numbers and the program are as before; raises CannotExchange."""
    entry = Change.objects.filter(pk=change_id, kind=EXCHANGE).first()
    controller = (
        Controller.objects.select_related("site").filter(pk=entry.thing_id or 0).first() if entry else None
    )
    if entry is None or controller is None:
        raise CannotExchange("This exchange is not in the book any more.")
    told = entry.before or {}
    first, second = int(told["first"]), int(told["second"])
    later = Change.objects.filter(kind=EXCHANGE, thing_id=controller.pk, pk__gt=entry.pk)
    if any({first, second} & {row.before["first"], row.before["second"]} for row in later if row.before):
        raise CannotExchange("These stations were exchanged again since; take the later exchange back first.")
    _check(controller, first, second)
    _renumber(controller, first, second)
    _put_setting_back(told, first, second)
    Recommendation.objects.filter(pk__in=told.get("wire_moves", [])).update(needs_wire_move=True)
    after: dict[str, object] = {"first": first, "second": second, "undone": entry.pk}
    note = ChangeNote(
        kind=EXCHANGE,
        key=entry.key,
        site_code=entry.site_code,
        before={"first": second, "second": first, "program_set": None, "wire_moves": []},
        after=after,
        reason=f"exchange of {entry.at:%Y-%m-%d} taken back",
        thing_id=controller.pk,
    )
    record_changes(notes=[note], by=by, at=at)
    mark_sites_stale(since={controller.site_id: today})
    return StationsExchanged(controller.code, first, second, entry.pk)


def _check(controller: Controller, first: int, second: int) -> None:
    """Two stations of the controller, at least one of them with a zone."""
    if first == second:
        raise CannotExchange("Choose two different stations.")
    for station in (first, second):
        if not 1 <= station <= controller.station_count:
            raise CannotExchange(
                f"Controller {controller.code} has stations 1 to {controller.station_count}."
            )
    if not Zone.objects.filter(controller=controller, station__in=(first, second)).exists():
        raise CannotExchange("Neither of these stations has a zone in the book.")


def _setting_on(
    controller: Controller, today: date, first: int, second: int, *, minutes_keyed: bool
) -> dict[str, object]:
    """Make the program set of the day, still with the old numbers; what it takes to undo that."""
    newest = ProgramSet.objects.filter(controller=controller, as_of__lte=today).order_by("-as_of").first()
    if newest is None:
        return {"program_set": None}
    lines = _lines(newest.pk)
    if newest.as_of == today:
        target, was = newest, lines
    else:
        target, was = (
            ProgramSet.objects.create(controller=controller, as_of=today, origin=newest.origin),
            None,
        )
    swap = {first: second, second: first}
    rows = [dict(zip(_LINE, line, strict=True)) for line in lines]
    if not minutes_keyed:
        # The renumbering that follows turns them once more: the timer's own numbers stay.
        rows = [row | {"station": swap.get(int(str(row["station"])), row["station"])} for row in rows]
    if controller.station_order == StationOrder.NUMERIC:
        rows = _in_order(rows, swap)
    target.lines.all().delete()
    ProgramLine.objects.bulk_create(ProgramLine(program_set=target, **row) for row in rows)
    return {"program_set": target.pk, "lines_before": was}


def _in_order(rows: list[dict[str, object]], swap: dict[int, int]) -> list[dict[str, object]]:
    """Lines in the order in which a timer that counts will run them after the exchange."""
    in_turn = sorted(
        rows, key=lambda row: (str(row["letter"]), swap.get(int(str(row["station"])), row["station"]))
    )
    counts: dict[str, int] = {}
    ordered = []
    for row in in_turn:
        letter = str(row["letter"])
        counts[letter] = counts.get(letter, 0) + 1
        ordered.append(row | {"run_order": counts[letter]})
    return ordered


def _lines(program_set_id: int) -> list[list[object]]:
    """Lines of a program set, plain."""
    rows = ProgramLine.objects.filter(program_set_id=program_set_id).order_by("letter", "run_order")
    return [list(row) for row in rows.values_list(*_LINE)]


def _renumber(controller: Controller, first: int, second: int) -> None:
    """Let two numbers change places wherever the book has them."""
    zones = Zone.objects.filter(controller=controller)
    zones.filter(station=first).update(station=_WAITING)
    zones.filter(station=second).update(station=first)
    zones.filter(station=_WAITING).update(station=second)
    turned = Case(When(station=first, then=Value(second)), default=Value(first))
    Sensor.objects.filter(controller=controller, station__in=(first, second)).update(station=turned)
    _turn_lines(ProgramLine.objects.filter(program_set__controller=controller), first, second)
    _turn_lines(RecommendationLine.objects.filter(recommendation__controller=controller), first, second)


def _turn_lines(lines: QuerySet[ProgramLine] | QuerySet[RecommendationLine], first: int, second: int) -> None:
    """Let two numbers change places in lines that name each station once."""
    lines.filter(station=first).update(station=_WAITING)
    lines.filter(station=second).update(station=first)
    lines.filter(station=_WAITING).update(station=second)


def _settle_wire_moves(controller: Controller) -> list[int]:
    """Recommendations that asked for the exchange and have it now."""
    sensor = Sensor.objects.filter(controller=controller).first()
    if sensor is None:
        return []
    highest = Zone.objects.filter(controller=controller).aggregate(top=Max("station"))["top"]
    if sensor.station != highest:
        return []
    asked = Recommendation.objects.filter(controller=controller, needs_wire_move=True).exclude(
        status=ProgramStatus.KEYED_IN
    )
    settled = list(asked.values_list("pk", flat=True))
    asked.update(needs_wire_move=False)
    return settled


def _put_setting_back(told: Mapping[str, Any], first: int, second: int) -> None:
    """The program of the day of the exchange as it was, unless somebody changed it since."""
    pk = told.get("program_set")
    if not pk:
        return
    at, swap = _LINE.index("station"), {first: second, second: first}
    made = [
        [*line[:at], swap.get(line[at], line[at]), *line[at + 1 :]] for line in told.get("lines_after") or []
    ]
    if sorted(_lines(pk), key=str) != sorted(made, key=str):
        return
    if told.get("lines_before") is None:
        ProgramSet.objects.filter(pk=pk).delete()
        return
    ProgramLine.objects.filter(program_set_id=pk).delete()
    ProgramLine.objects.bulk_create(
        ProgramLine(program_set_id=pk, **dict(zip(_LINE, line, strict=True))) for line in told["lines_before"]
    )
