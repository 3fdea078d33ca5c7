"""Tells whether a street file is whole: a cut file may be well formed and still lack most of its ways.

A file in blocks that was cut off between two of them reads to its end without a fault. Points stand in it
before ways, so what tells is points without a tag that no way leads through: in a whole extract hardly any,
whether it holds everything or streets alone. The other way round, an extract has ways that lead out of it,
but most of their points are in it.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

# Shares above which a file is not taken for whole; own judgement, no source.
LOOSE_SHARE: Final = 0.05
MISSING_SHARE: Final = 0.3
# So many points are looked up at most.
SAMPLE: Final = 200_000


@dataclass(slots=True)
class PointCount:
    """Points of a file and what its ways make of them, counted while it is read.

    Parameters
    ----------
    bare
        Numbers of points without tags.
    asked, missing
        Points that streets lead through, and how many of these are not in the file.
    loose
        Share of points without tags that no way leads through [1].
    """

    bare: array[int] = field(default_factory=lambda: array("q"))
    asked: int = 0
    missing: int = 0
    loose: float = 0.0

    def look_up(self, is_used: Callable[[int], bool]) -> None:
        """Work out the loose share, of a sample evenly spread where there are many."""
        sample = self.bare[:: max(1, len(self.bare) // SAMPLE)]
        if sample:
            self.loose = sum(not is_used(number) for number in sample) / len(sample)

    def doubt(self) -> str:
        """Why the file is taken for cut off, in words; empty where it is not."""
        if self.loose > LOOSE_SHARE:
            return (
                f"no way leads through {self.loose:.0%} of its points, so ways are missing "
                "(cut off on the way here?); fetch it again"
            )
        if self.missing > MISSING_SHARE * self.asked:
            share = self.missing / self.asked
            return f"{share:.0%} of the points of its streets are not in it; fetch it again"
        return ""
