"""Which visits each vehicle may make at all, gathered into as few sets as will do."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.routing.problem import Problem, Window


@dataclass(frozen=True, slots=True)
class Profiles:
    """Which travel matrix each vehicle uses, and the visits forbidden in each matrix."""

    of: tuple[int, ...]
    forbidden: tuple[frozenset[int], ...]


def find_profiles(problem: Problem) -> Profiles:
    """As few matrices as will do: vehicles share one where neither may make what is shut for the other.

    A visit whose windows never meet a shift is no matter for that vehicle, so that a lock to one day of a
    technician costs no matrix of its own.
    """
    of: list[int] = []
    shut: list[set[int]] = []
    opened: list[set[int]] = []
    meets = [
        [bool(windows_in_shift(problem, v, n)) for v in range(len(problem.visits))] for n in _numbers(problem)
    ]
    for number in _numbers(problem):
        may = {v for v, met in enumerate(meets[number]) if met and problem.may_serve(number, v)}
        not_ = {v for v, met in enumerate(meets[number]) if met} - may
        for profile in range(len(shut)):
            if not (not_ & opened[profile] or may & shut[profile]):
                break
        else:
            profile = len(shut)
            shut.append(set())
            opened.append(set())
        shut[profile] |= not_
        opened[profile] |= may
        of.append(profile)
    return Profiles(tuple(of), tuple(frozenset(one) for one in shut))


def _numbers(problem: Problem) -> range:
    """Indexes of the vehicles."""
    return range(len(problem.vehicles))


def windows_in_shift(problem: Problem, visit: int, vehicle: int) -> list[Window]:
    """Windows of a visit that meet a vehicle's shift (and its lock's shift)."""
    who, what = problem.vehicles[vehicle], problem.visits[visit]
    windows = list(what.windows)
    if what.vehicle is not None and what.vehicle in problem.vehicle_index:
        lock = problem.vehicles[problem.vehicle_index[what.vehicle]]
        windows = [
            Window(max(w.start_s, lock.shift_start_s), min(w.end_s, lock.shift_end_s), w.prize)
            for w in windows
            if w.start_s <= lock.shift_end_s and w.end_s >= lock.shift_start_s
        ]
    return [w for w in windows if w.start_s <= who.shift_end_s and w.end_s >= who.shift_start_s]


def usable_windows(problem: Problem, visit: int) -> list[Window]:
    """Windows of a visit inside which somebody who may serve it is at work."""
    usable: set[Window] = set()
    for number in _numbers(problem):
        if problem.may_serve(number, visit):
            usable.update(windows_in_shift(problem, visit, number))
    return sorted(usable)
