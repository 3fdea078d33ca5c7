"""The most that any program could give on the days that the rules leave open: a full refill on each."""

from __future__ import annotations

import numpy as np

from sites.calc.search.gating import Single
from sites.calc.search.problem import Problem
from weather.calc.arrays import FloatArray


def refill_reach(given: Problem) -> FloatArray:
    """Share of ET that each zone meets if every open day refills it wholly [1], (zones,); 0 without any.

    The densest day pattern of each controller is taken; rain first, then the refill, then ET under stress
    (FAO-56 Eq. 84), without losses and without bounds on hours, starts or runs.

    Parameters
    ----------
    given
        Controllers with their zones.
    """
    count = np.where(given.is_open, given.offered.sum(axis=0), -1)
    densest = count.argmax(axis=1)
    is_open = np.asarray(given.is_open.any(axis=1))
    runs = given.offered[:, np.arange(len(densest)), densest] & is_open[None]
    state = given.truth
    depletion: Single = np.repeat(state.depletion_mm[:, None], state.demand_mm.shape[2], axis=1)
    available, allowed = state.available_mm[:, None], state.allowed_mm[:, None]
    room = np.maximum(available - allowed, 1e-3)
    met = np.zeros(len(given.owner))
    for day in range(len(runs)):
        depletion = np.maximum(depletion - state.rain_mm[day], 0.0)
        depletion = np.where(runs[day][given.owner, None], 0.0, depletion)
        stress = np.clip((available - depletion) / room, 0.0, 1.0)
        used = np.minimum(stress * state.demand_mm[day], available - depletion)
        met += used.sum(axis=1)
        depletion = (depletion + used).astype(np.float32)
    wanted = state.demand_mm.sum(axis=(0, 2), dtype=np.float64)
    reach = np.divide(met, wanted, out=np.ones_like(met), where=wanted > 0)
    return np.where(is_open[given.owner], reach, 0.0)
