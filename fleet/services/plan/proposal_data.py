"""A proposal for a day that broke, as JSON can hold it."""

from __future__ import annotations

from datetime import date

from fleet.models import DayBreak, Technician
from fleet.services.plan.break_change import BreakAsked
from fleet.services.plan.break_plan import BreakPlan
from fleet.services.plan.break_state import BrokenDay


def orders_data(broken: BrokenDay, found: BreakPlan, urgent_id: int | None) -> dict[str, list[int]]:
    """Orders by vehicle key; 0 stands for the urgent visit, which has no number yet."""
    visits, vehicles = broken.state.given.visits, found.mended.problem.vehicles
    return {
        vehicles[route.vehicle].key: [0 if visits[n].pk == urgent_id else visits[n].pk for n in route.visits]
        for route in found.mended.plan.routes
    }


def told_data(found: BreakPlan, urgent_id: int | None) -> dict[str, list[str] | None]:
    """New hours by visit, as JSON can hold them."""
    return {
        str(0 if pk == urgent_id else pk): [hours[0].isoformat(), hours[1].isoformat()] if hours else None
        for pk, hours in found.told.items()
    }


def figures_data(
    broken: BrokenDay, found: BreakPlan, asked: BreakAsked, day: date, urgent_id: int | None
) -> dict[str, object]:
    """Figures of a proposal, with what writing it needs, and what keeps a late start known."""
    visits = broken.state.given.visits
    figures = {
        **found.figures,
        "presumed": list(broken.presumed),
        "freed": [0 if visits[n].pk == urgent_id else visits[n].pk for n in sorted(found.mended.freed)],
        "left": {
            str(0 if visits[one.visit].pk == urgent_id else visits[one.visit].pk): [one.code, one.reason]
            for one in found.mended.plan.unserved
        },
    }
    person = Technician.objects.filter(pk=asked.technician_id).first()
    if person is not None:
        key = f"{person.code}/{day.isoformat()}"
        figures["who"] = person.name
        begun = broken.state.given.begun.get(key)
        if asked.kind == DayBreak.Kind.LATE and begun is not None:
            figures["free_at"] = broken.state.given.clock.moment(begun.free_s).isoformat()
            figures["after_order"] = broken.state.held_orders.get(key, 0)
    return figures
