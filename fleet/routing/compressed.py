"""A clock with the lunch cut out, for a solver that knows no breaks.

On each day on which somebody takes a break, the span of that length around the usual middle of the breaks is
taken out of time. A plan that fits the shorter clock leaves room for the break between two stops; where the
break really falls is worked out again on the real clock, which also proves the plan.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from fleet.routing.problem import Problem, Vehicle, Window

DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class CompressedClock:
    """Cuts [s] in order of time: (from, length)."""

    cuts: tuple[tuple[int, int], ...]

    def to_short(self, time_s: int) -> int:
        """Time [s] on the short clock; a time inside a cut becomes the cut's start."""
        taken = 0
        for start, length in self.cuts:
            if time_s <= start:
                break
            taken += min(length, time_s - start)
        return time_s - taken

    def short_window(self, window: Window) -> Window:
        """The window on the short clock."""
        return Window(self.to_short(window.start_s), self.to_short(window.end_s), window.prize)

    def short_end(self, vehicle: Vehicle) -> int:
        """End of a shift on the short clock, shorter still where this person's break is not under a cut."""
        end_s = self.to_short(vehicle.shift_end_s)
        if vehicle.pause is None:
            return end_s
        cut_s = (vehicle.shift_end_s - end_s) - (vehicle.shift_start_s - self.to_short(vehicle.shift_start_s))
        return max(self.to_short(vehicle.shift_start_s), end_s - max(0, vehicle.pause.duration_s - cut_s))


def compress_breaks(problem: Problem) -> CompressedClock:
    """The short clock of a problem: one cut a day, as long as that day's longest break."""
    by_day: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for vehicle in problem.vehicles:
        if vehicle.pause is not None:
            middle = (vehicle.pause.earliest_s + vehicle.pause.latest_s) // 2
            by_day[middle // DAY_S].append((middle, vehicle.pause.duration_s))
    cuts = []
    for day in sorted(by_day):
        middles = sorted(middle for middle, _ in by_day[day])
        cuts.append((middles[len(middles) // 2], max(length for _, length in by_day[day])))
    return CompressedClock(tuple(cuts))
