"""How good a zone's figures are, and what makes them less sure: words for an audit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from sites.calc import landscape
from sites.calc.audit.entry import AVERAGE_ML_WANTED, CANS_WANTED, AuditEntry, AuditFigures

# ASAE S398.1 and New Mexico State University guide H-510: no catch test in wind above 5 mph.
MOST_WIND_M_S: Final = 2.2
# Heads count as mixed where their rates differ by more than this (common practice, no source) [1].
MIXED_FROM: Final = 1.25
# Low-quarter uniformity of a good and of a poor zone (Irrigation Association scale, from memory) [1].
RATING: Final[dict[str, tuple[float, float, float]]] = {
    "fixed_spray": (0.75, 0.65, 0.50),
    "rotor": (0.80, 0.70, 0.55),
    "rotary_nozzle": (0.80, 0.70, 0.55),
}
RATING_WORDS: Final = ("excellent", "good", "fair", "poor")
# Pressure that these heads are made for at the head [kPa] (from memory: 30 and 45 psi), and what passes.
HEAD_KPA: Final[dict[str, float]] = {"fixed_spray": 207.0, "rotor": 310.0, "rotary_nozzle": 276.0}
PRESSURE_ROOM: Final = 0.25


def rating(uniformity: float | None, head: str) -> str:
    """How good a DU is for a class of heads, in a word; empty where there is no scale.

    Parameters
    ----------
    uniformity
        Low-quarter uniformity [1], or None.
    head
        Class of head.
    """
    if uniformity is None or head not in RATING:
        return ""
    return RATING_WORDS[sum(uniformity < bound for bound in RATING[head])]


def rate_ratio(heads: Mapping[str, int] | None) -> float:
    """Highest over lowest assumed PR of the classes of heads in one zone [1]; 1 where there is one class.

    Parameters
    ----------
    heads
        Class of head to the number of heads [1].
    """
    present = [head for head, count in (heads or {}).items() if count > 0]
    if len(present) < 2:
        return 1.0
    rates = landscape.precipitation_rate_mm_h(np.array([landscape.HEADS.index(head) for head in present]))
    return float(rates.max() / rates.min())


def is_mixed(heads: Mapping[str, int] | None) -> bool:
    """Whether heads of different precipitation rate stand in one zone."""
    return rate_ratio(heads) > MIXED_FROM


def entry_cautions(entry: AuditEntry, figures: AuditFigures, head: str) -> list[str]:
    """What makes the figures less sure, or the zone worth mending, in sentences without units."""
    said = []
    count = len(entry.catch_ml)
    if count and count < CANS_WANTED:
        said.append(f"{count} cans are few: with {CANS_WANTED} or more the driest quarter is surer.")
    if count % 4:
        said.append(f"{count} cans have no even quarter: {figures.quarter} of them count as the driest.")
    if figures.average_ml is not None and figures.average_ml < AVERAGE_ML_WANTED:
        said.append(
            f"The cans hold {figures.average_ml:.0f} mL on average: a longer run reads better from "
            f"{AVERAGE_ML_WANTED:.0f} mL on."
        )
    if entry.wind_m_s is not None and entry.wind_m_s > MOST_WIND_M_S:
        said.append("Wind above 2.2 m/s (5 mph) moves the pattern: test again on a calm morning.")
    share = figures.caught_share
    if share is not None and share > 1.05:
        said.append(
            f"The cans caught {share:.0%} of what the meter let through: more than all of it. Check the "
            "area, the opening and the minutes."
        )
    elif share is not None and share < 0.6:
        said.append(
            f"The cans caught only {share:.0%} of what the meter let through: look for a leak, water beyond "
            "the edge, or an area that is too small."
        )
    if is_mixed(entry.heads):
        said.append(mixed_words(entry.heads))
    if rating(figures.distribution_uniformity, head) == "poor":
        said.append("The uniformity is poor: heads, nozzles and pressure come before more minutes.")
    said += _pressure_words(entry, head)
    return said


def mixed_words(heads: Mapping[str, int] | None) -> str:
    """What mixed heads mean, in a sentence."""
    present = [head for head, count in (heads or {}).items() if count > 0]
    rates = {head: float(landscape.precipitation_rate_mm_h(landscape.HEADS.index(head))) for head in present}
    fast, slow = max(rates, key=rates.__getitem__), min(rates, key=rates.__getitem__)
    return (
        f"Mixed heads: {fast.replace('_', ' ')} gives about {rates[fast] / rates[slow]:.1f} times the depth "
        f"of {slow.replace('_', ' ')} in the same minutes (by class of head). No run time fits both: change "
        "the heads or part the zone."
    )


def _pressure_words(entry: AuditEntry, head: str) -> list[str]:
    """A pressure that the heads are not made for."""
    said = []
    if entry.pressure_kpa is not None and head in HEAD_KPA:
        ratio = entry.pressure_kpa / HEAD_KPA[head]
        if ratio > 1 + PRESSURE_ROOM:
            said.append("The pressure at the head is high: mist drifts away; regulate it down.")
        elif ratio < 1 - PRESSURE_ROOM:
            said.append("The pressure at the head is low: the pattern does not reach head to head.")
    running, standing = entry.pressure_kpa, entry.static_pressure_kpa
    if running is not None and standing is not None and running > standing:
        said.append("The pressure at the head is above that at the supply: check both readings.")
    return said
