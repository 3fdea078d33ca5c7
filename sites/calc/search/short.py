"""Whether a program gives what is promised."""

from __future__ import annotations

import numpy as np

from sites.calc.search.problem import Problem
from sites.calc.search.trial import Trial
from weather.calc.arrays import BoolArray


def is_short(given: Problem, done: Trial) -> BoolArray:
    """Whether a zone of the controller misses what is promised, (controllers,).

    Parameters
    ----------
    given
        The problem.
    done
        What its programs do.
    """
    short = done.adequacy < given.settings.promised_adequacy
    return np.asarray(np.logical_or.reduceat(short, given.first))


def has_no_run(given: Problem) -> BoolArray:
    """Zones for which the timer's shortest run is longer than the longest that they take, (zones,).

    Parameters
    ----------
    given
        Controllers with their zones.
    """
    return np.asarray(given.cap_min <= 0)
