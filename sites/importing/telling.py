"""How long work tells of itself: a word for each step, and how much is behind it."""

from __future__ import annotations

from collections.abc import Callable

Tell = Callable[[str, float], None]
"""Told before each step: what it does, and the share of the whole that is done, 0 to 1. May raise to stop."""


def tell_nobody(step: str, share: float) -> None:
    """Nobody listens.

    Parameters
    ----------
    step, share
        What is done next, and the share that is behind it.
    """
    del step, share
