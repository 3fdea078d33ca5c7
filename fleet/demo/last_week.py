"""What the invented office and its people did last Friday: calls taken, driven to, finished, written down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Final

import numpy as np

from fleet.models import Finding, Stop
from fleet.services.on_site.check_findings import accept_findings
from fleet.services.on_site.findings import FindingInput, record_finding
from fleet.services.on_site.stop_states import set_stop_state
from fleet.services.plan.plan_routes import plan_routes
from fleet.services.plan.routes_by_hand import publish_routes
from fleet.services.visits.needs_by_hand import NeedInput, add_need
from sites.models import Site

FRIDAY_BACK: Final = timedelta(days=3)
# A day this small is searched by steps, not by the clock: the same seed drives the same way on any machine.
ITERATIONS: Final = 30


@dataclass(frozen=True, slots=True)
class Call:
    """A customer's call, and what the technician wrote down there; `extra`: work that needs a quote."""

    kind: str
    reason: str
    note: str
    minutes: float
    parts: Mapping[str, int] = field(default_factory=dict)
    extra: str = ""


CALLS: Final = (
    Call(
        "complaint", "Wet patch beside the drive since Tuesday.",
        "Fitting beside the drive replaced; the pipe under it is cracked and weeps when the station runs.",
        50, {"coupling": 1}, "lateral pipe under the drive is cracked",
    ),
    Call(
        "repair", "One station does not open any more.",
        "New solenoid, station opens. Its wire is spliced three times without a box and green.",
        45, {"solenoid": 1}, "wire to the back valve box corroded, to be laid anew",
    ),
    Call(
        "complaint", "Front lawn has dry stripes.",
        "Two heads sat low and were raised. The others of the row are of another make and throw less.",
        40, {"spray-head": 2}, "nine heads of the front row of unlike kinds, to be replaced as one set",
    ),
    Call("complaint", "Water runs onto the pavement.", "Head turned by the mower; set straight.", 20),
    Call("repair", "Lid of a valve box is broken.", "New lid. Box emptied of soil.", 15, {"box-lid": 1}),
    Call("repair", "Timer forgot its program.", "New battery, program keyed in again.", 25, {"battery": 1}),
)  # fmt: skip
# The office has read the first ones; the last are still to be checked.
CHECKED: Final = 4


@dataclass(frozen=True, slots=True)
class ExtraWork:
    """Work that a finding asks for: its open need."""

    site_id: int
    need_id: int


def work_last_friday(*, today: date, morning: datetime, seed: int) -> tuple[ExtraWork, ...]:
    """Take calls, plan Friday, drive it and write down what was found; what asks for a quote, in its order.

    Parameters
    ----------
    today, morning
        The company's today, and its moment.
    seed
        Seed of all chance.
    """
    friday, at_six = today - FRIDAY_BACK, morning - FRIDAY_BACK
    calls = _calls(friday, at_six, seed)
    plan_routes(now=at_six, day=friday, seed=seed, iterations=ITERATIONS, by="hana")
    publish_routes(days=[friday])
    stops = Stop.objects.filter(route__day=friday, visit__isnull=False).order_by("depart", "pk")
    found: dict[int, Finding] = {}
    for stop in stops.select_related("visit", "route__technician__user"):
        if stop.visit is None:
            continue
        need = stop.visit.needs.get()
        found[need.pk] = _finish(stop, need.pk, calls[need.pk])
    written = [found[need_id] for need_id in calls if need_id in found]
    accept_findings(
        finding_ids=[one.pk for one in written[:CHECKED]], by="hana", now=at_six + timedelta(hours=11)
    )
    return _extra(written)


def _calls(friday: date, at: datetime, seed: int) -> dict[int, Call]:
    """Enter the calls, each of another garden; by need."""
    chance = np.random.default_rng([seed, 47])
    gardens = list(Site.objects.order_by("code").values_list("pk", flat=True))
    chosen = chance.choice(len(gardens), size=min(len(CALLS), len(gardens)), replace=False)
    calls = {}
    for minute, (position, call) in enumerate(zip(chosen, CALLS, strict=False)):
        entered = add_need(
            site_id=gardens[int(position)],
            need=NeedInput(kind=call.kind, reason=call.reason, priority=4),
            by="hana",
            now=at - timedelta(days=1) + timedelta(hours=8, minutes=9 * minute),
            day=friday - timedelta(days=1),
        )
        calls[entered.need_id] = call
    return calls


def _finish(stop: Stop, need_id: int, call: Call) -> Finding:
    """Drive to a stop, finish it and write down what was found there."""
    set_stop_state(stop_id=stop.pk, state=Stop.State.ON_THE_WAY, at=stop.arrive - timedelta(minutes=12))
    set_stop_state(stop_id=stop.pk, state=Stop.State.AT_THE_GATE, at=stop.arrive)
    person = stop.route.technician.user
    kept = record_finding(
        finding=FindingInput(
            client_key=f"demo-friday-{need_id}",
            stop_id=stop.pk,
            need_id=need_id,
            recorded_at=stop.depart,
            parts=call.parts,
            service_min=call.minutes,
            note=call.note,
            follow_up=call.extra,
        ),
        by=person.username if person else "",
    )
    set_stop_state(stop_id=stop.pk, state=Stop.State.FINISHED, at=stop.depart)
    return Finding.objects.get(pk=kept.finding_id)


def _extra(written: Sequence[Finding]) -> tuple[ExtraWork, ...]:
    """Needs that findings raised."""
    return tuple(
        ExtraWork(one.visit.site_id, effect["need"])
        for one in written
        for effect in one.effects
        if effect["what"] == "raised"
    )
