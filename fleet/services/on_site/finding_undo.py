"""What a finding had changed, taken back: only where nobody changed it since."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Final

from fleet.models import Flag, VisitNeed
from fleet.services.company.stock import CannotUndoStock, undo_stock
from fleet.services.on_site.finding_effects import Effect
from sites.services.found_again import put_back_program, put_back_sensor, put_back_turf


def take_back(*, effects: list[Effect], site_code: str, day: date, by: str, at: datetime) -> list[Effect]:
    """Take effects back, the newest first; those that stay because the book says something else by now."""
    return [
        effect for effect in reversed(effects) if not _UNDO[effect["what"]](effect, site_code, day, by, at)
    ]


def _undo_flag(effect: Effect, _site: str, _day: date, _by: str, _at: datetime) -> bool:
    """Open the flag again, unless another one is open there by now."""
    flag = Flag.objects.filter(pk=effect["flag"], closed_by=Flag.ClosedBy.FINDING).first()
    if flag is None or flag.truth != effect["truth"]:
        return False
    if Flag.objects.filter(controller_id=flag.controller_id, closed_on__isnull=True).exists():
        Flag.objects.filter(pk=flag.pk).update(truth="", closed_by=Flag.ClosedBy.DATA)
        return True
    Flag.objects.filter(pk=flag.pk).update(closed_on=None, closed_by="", truth="")
    return True


def _undo_sensor(column: str) -> Callable[[Effect, str, date, str, datetime], bool]:
    """Put a column of the sensor back."""

    def undo(effect: Effect, _site: str, _day: date, by: str, at: datetime) -> bool:
        return put_back_sensor(
            controller_id=effect["controller"],
            column=column,
            after=effect["after"],
            before=effect["before"],
            by=by,
            at=at,
        ).done

    return undo


def _undo_turf(effect: Effect, site: str, _day: date, by: str, at: datetime) -> bool:
    """Take back what was noted of the turf."""
    return put_back_turf(site_code=site, sensors=effect["sensors"], zones=effect["zones"], by=by, at=at).done


def _undo_program(effect: Effect, _site: str, _day: date, by: str, at: datetime) -> bool:
    """Put back what was set before."""
    return put_back_program(
        recommendation_id=effect["recommendation"],
        program_set_id=effect["set"],
        status_before=effect["status"],
        lines_before=effect["lines"],
        by=by,
        at=at,
    ).done


def _undo_need(effect: Effect, _site: str, _day: date, _by: str, _at: datetime) -> bool:
    """Open the need again."""
    return bool(
        VisitNeed.objects.filter(pk=effect["need"], state=VisitNeed.State.DONE).update(
            state=VisitNeed.State.OPEN, closed_on=None
        )
    )


def _undo_raised(effect: Effect, _site: str, day: date, _by: str, _at: datetime) -> bool:
    """Withdraw the need that the finding raised."""
    return bool(
        VisitNeed.objects.filter(pk=effect["need"], state=VisitNeed.State.OPEN).update(
            state=VisitNeed.State.WITHDRAWN, closed_on=day, withdrawn_why="its finding was taken back"
        )
    )


def _undo_parts(effect: Effect, _site: str, _day: date, by: str, at: datetime) -> bool:
    """Put the parts back on the truck."""
    try:
        undo_stock(deed=effect["deed"], by=by, now=at)
    except CannotUndoStock:
        return False
    return True


_UNDO: Final[dict[str, Callable[[Effect, str, date, str, datetime], bool]]] = {
    "flag": _undo_flag,
    "threshold": _undo_sensor("threshold_kpa"),
    "installed": _undo_sensor("installed_on"),
    "turf": _undo_turf,
    "program": _undo_program,
    "parts": _undo_parts,
    "need": _undo_need,
    "raised": _undo_raised,
}
