"""Where a technician stands: on the way, at the gate, finished, or not possible."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from fleet.models import Stop, Visit

_VISIT_STATE: dict[str, str] = {
    Stop.State.ON_THE_WAY: Visit.State.UNDER_WAY,
    Stop.State.AT_THE_GATE: Visit.State.UNDER_WAY,
    Stop.State.FINISHED: Visit.State.DONE,
    Stop.State.NOT_POSSIBLE: Visit.State.NOT_POSSIBLE,
}
# From which states each one may be reached: a phone that sends twice, or late, changes nothing backwards.
_BEFORE: dict[str, tuple[str, ...]] = {
    Stop.State.ON_THE_WAY: (Stop.State.AHEAD,),
    Stop.State.AT_THE_GATE: (Stop.State.AHEAD, Stop.State.ON_THE_WAY),
    Stop.State.FINISHED: (Stop.State.AHEAD, Stop.State.ON_THE_WAY, Stop.State.AT_THE_GATE),
    Stop.State.NOT_POSSIBLE: (Stop.State.AHEAD, Stop.State.ON_THE_WAY, Stop.State.AT_THE_GATE),
}


class UnknownStopState(ValueError):
    """The state is none that a technician can set."""


@dataclass(frozen=True, slots=True)
class StopStateSet:
    """Whether a stop's state changed; False: it was there already, or further."""

    stop_id: int
    changed: bool


@transaction.atomic
def set_stop_state(*, stop_id: int, state: str, at: datetime, reason: str = "") -> StopStateSet:
    """Bring a stop forward to a state; never backwards. Raises `UnknownStopState`.

    Parameters
    ----------
    stop_id
        The stop.
    state
        One of on_the_way, at_the_gate, finished, not_possible.
    at
        When it happened, by the phone's clock.
    reason
        Why it was not possible.
    """
    if state not in _VISIT_STATE:
        raise UnknownStopState(f"{state!r} is none of {', '.join(sorted(_VISIT_STATE))}")
    changed = Stop.objects.filter(pk=stop_id, state__in=_BEFORE[state]).update(
        state=state,
        state_at=at,
        not_possible_reason=reason[:200] if state == Stop.State.NOT_POSSIBLE else "",
    )
    if changed:
        Visit.objects.filter(stops=stop_id).update(state=_VISIT_STATE[state])
    return StopStateSet(stop_id, bool(changed))
