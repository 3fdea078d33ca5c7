"""From what an auditor enters to what a zone carries: DU, PR, and the effect on run times."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from sites.calc.audit import cans as audit
from sites.calc.balance.irrigation import net_run_depth_mm

MOST_CANS: Final = 400
MOST_ML: Final = 5_000.0
# Irrigation Association audit guidelines (from memory): two dozen cans, an average of 25 mL in them.
CANS_WANTED: Final = 24
AVERAGE_ML_WANTED: Final = 25.0
# A zone of whose cans a quarter caught next to nothing must be mended, not programmed.
LEAST_UNIFORMITY: Final = 0.05


class BadEntry(ValueError):
    """An entry that cannot be; `field` names the box of the form."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """What was measured; None or empty where it was not.

    Parameters
    ----------
    catch_ml
        Catch of each can [mL].
    throat_area_cm2
        Opening of a can [cm2].
    run_min
        Minutes that the zone ran over the cans [min].
    flow_l_min
        Flow of the zone [L/min].
    area_m2
        Area on which it fell [m2].
    pressure_kpa, static_pressure_kpa
        Pressure at a head while running, and at the supply with all off [kPa].
    wind_m_s
        Wind while the cans stood [m/s].
    heads
        Class of head to the number of heads in the zone [1].
    """

    catch_ml: tuple[float, ...] = ()
    throat_area_cm2: float | None = None
    run_min: float | None = None
    flow_l_min: float | None = None
    area_m2: float | None = None
    pressure_kpa: float | None = None
    static_pressure_kpa: float | None = None
    wind_m_s: float | None = None
    heads: Mapping[str, int] | None = None


@dataclass(frozen=True, slots=True)
class AuditFigures:
    """What an entry gives; None where it does not.

    Parameters
    ----------
    distribution_uniformity
        DU of the low quarter [1].
    precipitation_rate_mm_h
        PR [mm/h]: of the cans where there are any, else of flow and area.
    rate_of_flow_mm_h
        PR by flow and area [mm/h], also where cans give another.
    uniformity_coefficient
        CU after Christiansen [1].
    low_half
        Uniformity of the lower half [1].
    run_time_multiplier
        How much longer a run takes than under even heads [1].
    average_ml
        Mean catch [mL].
    quarter
        Cans in the low quarter [1].
    """

    distribution_uniformity: float | None
    precipitation_rate_mm_h: float | None
    rate_of_flow_mm_h: float | None
    uniformity_coefficient: float | None
    low_half: float | None
    run_time_multiplier: float | None
    average_ml: float | None
    quarter: int

    @property
    def caught_share(self) -> float | None:
        """What the cans caught of what the meter let through [1]."""
        if self.rate_of_flow_mm_h is None or self.distribution_uniformity is None:
            return None
        return (self.precipitation_rate_mm_h or 0.0) / self.rate_of_flow_mm_h


@dataclass(frozen=True, slots=True)
class RunEffect:
    """What a run does with the values before and after [min, mm].

    Parameters
    ----------
    letter
        Program of the run; empty: none is set, and the run is one of 10 mm.
    run_min
        Minutes as set [min].
    depth_before_mm, depth_after_mm
        Mean net depth of the run by the values before, and by the audit's [mm].
    same_depth_min
        Minutes that give the depth that was meant [min].
    """

    letter: str
    run_min: float
    depth_before_mm: float
    depth_after_mm: float
    same_depth_min: float


def read_cans(text: str) -> tuple[float, ...]:
    """Catches [mL] of a pasted text: blanks, tabs, lines, commas and semicolons part the cans.

    Parameters
    ----------
    text
        Numbers with a point for decimals [mL].
    """
    return tuple(_catch(word) for word in text.replace(",", " ").replace(";", " ").split())


def _catch(word: str) -> float:
    """One can's catch [mL]."""
    try:
        value = float(word)
    except ValueError:
        value = float("nan")
    if not 0 <= value <= MOST_ML or "_" in word:
        raise BadEntry("cans", f"{word[:20]!r} is no catch: millilitres from 0 to {MOST_ML:.0f}")
    return value


def audit_figures(entry: AuditEntry) -> AuditFigures:
    """What an entry gives: DU and PR of cans, PR of flow and area [1, mm/h].

    Raises
    ------
    BadEntry
        Something that must go along is missing, or the figures cannot be.
    """
    rate_of_flow = _rate_of_flow(entry)
    if not entry.catch_ml:
        return AuditFigures(None, rate_of_flow, rate_of_flow, None, None, None, None, 0)
    if len(entry.catch_ml) > MOST_CANS:
        raise BadEntry("cans", f"{len(entry.catch_ml)} cans: at most {MOST_CANS} go into one audit")
    if len(entry.catch_ml) < 4:
        raise BadEntry(
            "cans", f"{len(entry.catch_ml)} cans: at least 4 are needed, better {CANS_WANTED} or more"
        )
    if sum(entry.catch_ml) <= 0:
        raise BadEntry("cans", "no can caught anything: did the zone run?")
    uniformity = audit.low_quarter_uniformity(entry.catch_ml)
    if uniformity < LEAST_UNIFORMITY:
        raise BadEntry(
            "cans",
            "the driest quarter of the cans caught next to nothing: mend the heads first, then audit again",
        )
    if not entry.run_min or entry.run_min <= 0:
        raise BadEntry("run_min", "the minutes that the zone ran over the cans, above 0")
    if not entry.throat_area_cm2 or entry.throat_area_cm2 <= 0:
        raise BadEntry("opening", "the opening of a can, above 0")
    rate = audit.precipitation_rate_from_cans_mm_h(entry.catch_ml, entry.run_min, entry.throat_area_cm2)
    return AuditFigures(
        distribution_uniformity=uniformity,
        precipitation_rate_mm_h=_plausible(rate, "opening"),
        rate_of_flow_mm_h=rate_of_flow,
        uniformity_coefficient=audit.uniformity_coefficient(entry.catch_ml),
        low_half=audit.low_half_uniformity(entry.catch_ml),
        run_time_multiplier=float(audit.run_time_multiplier(uniformity)),
        average_ml=float(np.mean(entry.catch_ml)),
        quarter=audit.quarter_size(len(entry.catch_ml)),
    )


def _rate_of_flow(entry: AuditEntry) -> float | None:
    """PR of flow and area [mm/h], None where no flow was measured."""
    if entry.flow_l_min is None:
        return None
    if entry.flow_l_min <= 0:
        raise BadEntry("flow", "a flow above 0")
    if not entry.area_m2 or entry.area_m2 <= 0:
        raise BadEntry("area", "the area that this zone waters, above 0")
    rate = float(audit.precipitation_rate_from_flow_mm_h(entry.flow_l_min, entry.area_m2))
    return _plausible(rate, "flow")


def _plausible(rate_mm_h: float, field: str) -> float:
    """The rate [mm/h], if heads can have it."""
    if not 0.1 <= rate_mm_h <= 1_000:
        raise BadEntry(
            field, f"these figures give {rate_mm_h:.3g} mm/h, which no head applies: check units and minutes"
        )
    return rate_mm_h


def run_effect(
    letter: str, run_min: float, *, before: tuple[float, float], after: tuple[float, float]
) -> RunEffect:
    """What a run gives before and after, and the minutes for the depth that was meant [min, mm].

    Parameters
    ----------
    letter
        Program of the run.
    run_min
        Minutes of one start [min].
    before, after
        PR [mm/h] and DU [1].
    """
    depth = float(net_run_depth_mm(before[0], run_min, before[1]))
    really = float(net_run_depth_mm(after[0], run_min, after[1]))
    return RunEffect(letter, run_min, depth, really, run_min * depth / really if really > 0 else run_min)
