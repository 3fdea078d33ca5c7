"""A plan: who visits what in which order and when, and what was left out and why."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PlannedStop:
    """One visit in a route; times [s] on the problem's clock.

    Parameters
    ----------
    visit
        Index of the visit.
    drive_s, drive_m
        Travel from the place before [s], [m].
    arrive_s, start_s, depart_s
        Arrival, start and end of service [s].
    prize
        What starting then is worth [points].
    """

    visit: int
    drive_s: int
    drive_m: int
    arrive_s: int
    start_s: int
    depart_s: int
    prize: int


@dataclass(frozen=True, slots=True)
class PlannedBreak:
    """The pause of a route: after how many stops it comes, and when [s]."""

    after: int
    start_s: int
    end_s: int


@dataclass(frozen=True, slots=True)
class PlannedRoute:
    """The used day of one vehicle: leaves, stops, is back [s]."""

    vehicle: int
    leave_s: int
    stops: tuple[PlannedStop, ...]
    pause: PlannedBreak | None
    back_drive_s: int
    back_drive_m: int
    back_s: int
    travel_cost: int

    @property
    def visits(self) -> tuple[int, ...]:
        """Indexes of the visits in order."""
        return tuple(stop.visit for stop in self.stops)

    @property
    def drive_s(self) -> int:
        """Driving of the whole day [s]."""
        return sum(stop.drive_s for stop in self.stops) + self.back_drive_s

    @property
    def drive_m(self) -> int:
        """Way of the whole day [m]."""
        return sum(stop.drive_m for stop in self.stops) + self.back_drive_m


@dataclass(frozen=True, slots=True)
class Unserved:
    """A visit that is in no route, with the reason as code and as a sentence."""

    visit: int
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Plan:
    """Routes of used vehicles and what was left out.

    Parameters
    ----------
    routes
        One for each used vehicle, by vehicle index.
    unserved
        Every visit that is in no route, by visit index.
    missed_musts
        How many of them were marked `must`.
    travel_cost
        Cost of all travel [points].
    lost_prize
        Best prizes less those won [points].
    """

    routes: tuple[PlannedRoute, ...]
    unserved: tuple[Unserved, ...]
    missed_musts: int
    travel_cost: int
    lost_prize: int

    @property
    def cost(self) -> int:
        """Travel and lost value together [points]."""
        return self.travel_cost + self.lost_prize

    @property
    def rank(self) -> tuple[int, int]:
        """What is compared: fewer missed musts first, then less cost."""
        return (self.missed_musts, self.cost)
