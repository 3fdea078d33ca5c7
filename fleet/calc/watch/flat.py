"""Faults of which the water in the soil tells nothing: each blocks a share of its own of all starts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.settings import WatchSettings
from fleet.calc.watch.twin import log_choose

FloatArray: TypeAlias = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FlatFault:
    """A fault whose blocking share does not depend on the water in the soil.

    Parameters
    ----------
    cause
        One of `CAUSES`; several shares may stand for one cause.
    share
        Share of offered starts that it blocks [1].
    rate
        Probability that it begins on a day [1].
    """

    cause: str
    share: float
    rate: float


def flat_faults(settings: WatchSettings) -> tuple[FlatFault, ...]:
    """The faults without water, in the order of their columns behind the twin's; another one is a line here.

    Parameters
    ----------
    settings
        Shares and rates.
    """
    shares = settings.erratic_shares
    return (
        FlatFault("stuck_wet", settings.stuck_share, settings.fault_rate),
        FlatFault("stuck_dry", 1.0 - settings.stuck_share, settings.fault_rate),
        *(FlatFault("erratic", share, settings.erratic_rate / len(shares)) for share in shares),
    )


def flat_log_likelihood(blocked: FloatArray, starts: FloatArray, settings: WatchSettings) -> FloatArray:
    """Log probability of the counts by each of `flat_faults`, (n, flat faults) [1].

    Parameters
    ----------
    blocked, starts
        Counts, (n,) [1].
    settings
        Blocking shares of each hypothesis.
    """
    share = np.array([fault.share for fault in flat_faults(settings)])
    result: FloatArray = (
        log_choose(starts, blocked)[:, None]
        + blocked[:, None] * np.log(share)
        + (starts - blocked)[:, None] * np.log1p(-share)
    )
    return result


def flat_columns(settings: WatchSettings) -> dict[str, list[int]]:
    """Columns of the flat hypotheses by cause, the twin's before them.

    Parameters
    ----------
    settings
        Shares and rates.
    """
    found: dict[str, list[int]] = {}
    for column, fault in enumerate(flat_faults(settings), start=1):
        found.setdefault(fault.cause, []).append(column)
    return found
