"""Work on parts of a fleet at the same time: numpy lets go of the interpreter while it computes."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

IntArray: TypeAlias = npt.NDArray[np.int64]
Part = TypeVar("Part")
Done = TypeVar("Done")

FEWEST_SITES = 400
"""Sites below which a part is not worth a thread of its own."""


def side_by_side(work: Callable[[Part], Done], parts: Sequence[Part]) -> list[Done]:
    """Results of the parts in their order, computed on as many threads as there are parts or cores.

    Parameters
    ----------
    work
        What is done with a part; must not write where another part does.
    parts
        Parts of the work.
    """
    workers = min(len(parts), cores())
    if workers <= 1:
        return [work(part) for part in parts]
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(work, parts))


def cores() -> int:
    """Processor cores of this machine [1]."""
    return os.cpu_count() or 1


def parts_by_location(order: IntArray, location: IntArray, *, most: int | None = None) -> list[IntArray]:
    """Sites in parts of about equal size, none of which shares a location with another.

    Parameters
    ----------
    order
        Sites sorted by location, (sites,) [1].
    location
        Location of each site, (sites,) [1].
    most
        Parts at most; by cores and size where not given [1].
    """
    parts = min(cores(), order.size // FEWEST_SITES) if most is None else most
    if parts <= 1 or not order.size:
        return [order]
    sorted_location = location[order]
    begins = np.flatnonzero(np.diff(sorted_location)) + 1
    if not begins.size:
        return [order]
    wanted = np.arange(1, parts) * order.size / parts
    nearest = begins[np.abs(begins[None, :] - wanted[:, None]).argmin(axis=1)]
    cuts = [0, *np.unique(nearest).tolist(), order.size]
    return [order[low:high] for low, high in pairwise(cuts)]
