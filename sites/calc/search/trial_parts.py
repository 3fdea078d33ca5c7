"""Trials of some controllers taken out of those of many, and put back."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from sites.calc.search.problem import Problem
from sites.calc.search.trial import Trial
from weather.calc.arrays import BoolArray, IntArray

_OF_ZONES: Final = ("minutes", "adequacy", "dry_share", "lost_mm", "gross_mm", "passes")
_OF_CONTROLLERS: Final = ("is_known", "offered", "allowed", "minutes_a_week")


def trial_of(given: Problem, done: Trial, rows: IntArray) -> Trial:
    """The trial of some controllers.

    Parameters
    ----------
    given
        The problem of all.
    done
        Their trial.
    rows
        Positions of the controllers, rising, (n,).
    """
    mine = np.isin(given.owner, rows)
    return replace(
        done,
        **{name: getattr(done, name)[mine] for name in _OF_ZONES},
        **{name: getattr(done, name)[rows] for name in _OF_CONTROLLERS},
    )


def merged_trial(given: Problem, done: Trial, rows: IntArray, wins: BoolArray, tried: Trial) -> Trial:
    """The trial with some controllers' replaced by another's.

    Parameters
    ----------
    given
        The problem of all.
    done
        Their trial.
    rows
        Positions of the controllers that were tried otherwise, rising, (n,).
    wins
        Which of them are replaced, (n,).
    tried
        Their other trial.
    """
    mine = np.flatnonzero(np.isin(given.owner, rows[wins]))
    theirs = np.isin(np.searchsorted(rows, given.owner[np.isin(given.owner, rows)]), np.flatnonzero(wins))
    new = {}
    for name in (*_OF_ZONES, *_OF_CONTROLLERS):
        column = getattr(done, name).copy()
        if name in _OF_ZONES:
            column[mine] = getattr(tried, name)[theirs]
        else:
            column[rows[wins]] = getattr(tried, name)[wins]
        new[name] = column
    return replace(done, **new)
