"""What must be there before a visit can be planned: ticket, certified tester, parts, the customer's word."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fleet.calc.visits.value import CERTIFIED


def able_on(skills: frozenset[str], certificates: Mapping[str, date], day: date) -> frozenset[str]:
    """Skills that count on a day: those that need a certificate only up to its last day [-].

    Parameters
    ----------
    skills
        What somebody may do [-].
    certificates
        Last day of the newest certificate, by skill [-].
    day
        The day [-].
    """
    return frozenset(
        skill
        for skill in skills
        if skill not in CERTIFIED or (skill in certificates and day <= certificates[skill])
    )


@dataclass(frozen=True, slots=True)
class PartsWanted:
    """What one visit takes along.

    Parameters
    ----------
    key
        The visit [-].
    parts
        How many of each part [units].
    truck
        Whose truck it stands on already, empty: anybody's [-].
    """

    key: int
    parts: Mapping[str, int]
    truck: str = ""


@dataclass(frozen=True, slots=True)
class PartsShare:
    """Whose trucks may make a visit: None anybody's, empty nobody's; then `missing` names the parts."""

    trucks: frozenset[str] | None
    missing: tuple[str, ...] = ()


def share_parts(
    wanted: Sequence[PartsWanted], trucks: Mapping[str, Mapping[str, int]], depot: Mapping[str, int]
) -> dict[int, PartsShare]:
    """Who can make each visit with what trucks hold and depots can load, in the order given.

    No plan that keeps to it uses more of a part than there is: a visit is given depot stock, which anybody
    may load, while it lasts; else any truck that holds enough for all visits together; else one truck's
    own. It is careful rather than best: a visit may wait although another order would have served it.

    Parameters
    ----------
    wanted
        Visits with the parts that they cannot do without, the most valuable first.
    trucks
        Stock of each technician's truck, by part [units].
    depot
        Stock of all depots together, by part [units].
    """
    left = {who: {part: max(0, count) for part, count in own.items()} for who, own in trucks.items()}
    free = {part: max(0, count) for part, count in depot.items()}
    total: dict[str, int] = {}
    for one in wanted:
        for part, count in one.parts.items():
            total[part] = total.get(part, 0) + count
    roomy = {
        part: frozenset(who for who, own in left.items() if own.get(part, 0) >= count)
        for part, count in total.items()
    }
    return {one.key: _share(one, left, free, roomy) for one in wanted}


def _share(
    one: PartsWanted,
    left: dict[str, dict[str, int]],
    free: dict[str, int],
    roomy: Mapping[str, frozenset[str]],
) -> PartsShare:
    """Share of one visit; what it takes is taken off."""
    if not one.parts:
        return PartsShare(None)
    if not one.truck and all(free.get(part, 0) >= count for part, count in one.parts.items()):
        for part, count in one.parts.items():
            free[part] -= count
        return PartsShare(None)
    anywhere = frozenset.intersection(*(roomy[part] for part in one.parts))
    if anywhere and (not one.truck or one.truck in anywhere):
        return PartsShare(anywhere)
    able = [
        who
        for who, own in left.items()
        if all(own.get(part, 0) + free.get(part, 0) >= count for part, count in one.parts.items())
        and one.truck in ("", who)
    ]
    if not able:
        most = [left[one.truck]] if one.truck in left else list(left.values())
        missing = tuple(
            part
            for part, count in one.parts.items()
            if free.get(part, 0) + max((own.get(part, 0) for own in most), default=0) < count
        )
        return PartsShare(frozenset(), missing or tuple(one.parts))
    who = max(able, key=lambda name: (sum(min(left[name].get(p, 0), c) for p, c in one.parts.items()), name))
    for part, count in one.parts.items():
        own = min(left[who].get(part, 0), count)
        left[who][part] = left[who].get(part, 0) - own
        free[part] = free.get(part, 0) - (count - own)
    return PartsShare(frozenset({who}))
