"""What all rows of a chunk of the weekly round share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from sites.calc.program.passes import ProgramLines
from sites.calc.search.binding import SOIL
from sites.calc.search.problem import Problem
from sites.calc.search.round_plan import RoundPlan
from sites.calc.search.threshold import fragile_zones
from sites.selectors.round_inputs import RoundControllers
from weather.calc.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class RoundContext:
    """What all rows of a chunk share.

    Parameters
    ----------
    given, plan
        The problem and the round's answer.
    found
        Controllers with their cases.
    binding
        Limit that binds each controller of the problem; empty: none.
    breaks_rule
        Whether what is set breaks a rule, (controllers,).
    fragile
        Zones that use more between waterings than their roots may lose, (zones,).
    lines
        What is set, line by line.
    week, today
        Monday of the week, and day of computing.
    price_per_m3
        Price of water.
    log_factor
        What sensors' logs taught of their zones' use [1], by position in `found`.
    """

    given: Problem
    plan: RoundPlan
    found: RoundControllers
    binding: Sequence[str]
    breaks_rule: BoolArray
    fragile: BoolArray
    lines: ProgramLines
    week: date
    today: date
    price_per_m3: float
    log_factor: FloatArray


def context(
    *,
    given: Problem,
    plan: RoundPlan,
    found: RoundControllers,
    binding: Sequence[str],
    breaks_rule: BoolArray,
    lines: ProgramLines,
    week: date,
    today: date,
    price_per_m3: float,
    log_factor: FloatArray,
) -> RoundContext:
    """The context of a chunk."""
    fragile, _ = fragile_zones(given)
    # Only where it shows, and where nothing else is to blame.
    settings, new = given.settings, plan.new
    suffers = (new.adequacy < settings.promised_adequacy) | (new.dry_share > settings.most_dry_share)
    is_soil = np.array([word in ("", SOIL) for word in binding], dtype=np.bool_)
    fragile = fragile & suffers & is_soil[given.owner]
    return RoundContext(
        given, plan, found, binding, breaks_rule, fragile, lines, week, today, price_per_m3, log_factor
    )
