"""Whether the timers of a garden together ask their supply for more than it is said to give."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

import numpy as np

from fleet.selectors.programs.site_program import ControllerProgram
from sites.calc.program.lanes import planned_flow_l_min
from sites.calc.program.one_supply import SupplyTimer, beyond_one_supply
from sites.models import Site
from sites.selectors.zones import zone_table

# Four weeks hold every pair of weekdays and intervals.
_DAYS: Final = 28


def supply_conflicts(*, site: Site, programs: Sequence[ControllerProgram], today: date) -> tuple[str, ...]:
    """Sentences on stations of several timers that run together beyond the supply; none without its flow.

    One sentence for the programs as they are set, one for those recommended.
    """
    if len(programs) < 2 or all(one.flow_limit_l_min is None for one in programs):
        return ()
    table = zone_table(site_ids=[site.pk])
    flow = planned_flow_l_min(table)
    codes = dict(site.controllers.values_list("pk", "code"))
    by_timer: dict[str, dict[int, float]] = {one.controller: {} for one in programs}
    for pk, station, litres in zip(table.controller_id, table.station, flow, strict=True):
        by_timer[codes[int(pk)]][int(station)] = float(litres)
    days = np.arange(np.datetime64(today), np.datetime64(today) + _DAYS)

    def told(word: str, *, is_new: bool) -> str:
        timers = [
            SupplyTimer(
                one.controller,
                (one.keyed_new if is_new else ()) or one.keyed_now,
                one.as_of or today,
                by_timer[one.controller],
                one.flow_limit_l_min,
            )
            for one in programs
        ]
        words = beyond_one_supply(timers, days)
        return f"{word}: {words[0].lower()}{words[1:]}" if words else ""

    found = [told("As set", is_new=False)]
    if any(one.advice is not None for one in programs):
        found.append(told("With what is recommended", is_new=True))
    return tuple(filter(None, found))
