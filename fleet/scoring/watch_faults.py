"""Faults of simulated sensors: which, from when on, how strong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.settings import CAUSES

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

FAULTY_SHARE: Final = 0.25
NO_FAULT: Final = -1
_ONSET: Final = (0.15, 0.80)  # of the season
_WET: Final = (1.7, 2.3)
_DRY: Final = (0.25, 0.42)
_ERRATIC: Final = (0.35, 0.65)
WET_DOSE: Final = sum(_WET) / 2.0
DRY_DOSE: Final = sum(_DRY) / 2.0
ERRATIC_SHARE: Final = sum(_ERRATIC) / 2.0


@dataclass(frozen=True, slots=True)
class FleetTruth:
    """What the watch must find and may not see, all (sites,).

    Parameters
    ----------
    fault
        Position in CAUSES, `NO_FAULT` where healthy [1].
    onset
        Day index on which the fault began [1].
    visible_nats
        Evidence that the fault left on the days of the log, by the true states of the garden [nat].
    """

    fault: IntArray
    onset: IntArray
    visible_nats: FloatArray


@dataclass(frozen=True, slots=True)
class Faults:
    """Faults and their strength, all (sites,).

    Parameters
    ----------
    fault, onset
        As in `FleetTruth` [1].
    dose
        Factor on the dose at the sensor's spot while it misreads [1].
    erratic
        Share of starts that an erratic sensor blocks [1].
    """

    fault: IntArray
    onset: IntArray
    dose: FloatArray
    erratic: FloatArray


def draw_faults(sites: int, days: int, rng: np.random.Generator) -> Faults:
    """Faults on a quarter of the sites, with their onset and strength.

    Parameters
    ----------
    sites, days
        Size of the fleet and length of the season [1].
    rng
        Source of chance.
    """
    faulty = rng.random(sites) < FAULTY_SHARE
    kind = np.where(faulty, rng.integers(0, len(CAUSES), sites), NO_FAULT)
    onset = np.where(faulty, (rng.uniform(*_ONSET, sites) * days).astype(np.int64), days)
    dose = np.where(kind == CAUSES.index("reads_wet"), rng.uniform(*_WET, sites), 1.0)
    dose = np.where(kind == CAUSES.index("reads_dry"), rng.uniform(*_DRY, sites), dose)
    return Faults(kind, onset, dose, rng.uniform(*_ERRATIC, sites))
