"""The words of the house: each term of the trade, and each of our own, with its meaning in one place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Word:
    """A term as screens and files write it, its short form where one is used, and what it means."""

    term: str
    meaning: str
    short: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True)
class WordGroup:
    """Words that belong together on the words page."""

    title: str
    words: tuple[Word, ...]


GROUPS: Final[tuple[WordGroup, ...]] = (
    WordGroup(
        "The ground",
        (
            Word("site", "one customer’s property"),
            Word(
                "controller",
                "the irrigation timer on the wall: it has stations, programs A, B and C, and start times",
            ),
            Word("station", "a numbered output of the controller; it feeds one zone"),
            Word(
                "zone",
                "the planted area that one station waters: a polygon with plant, soil, head and slope",
            ),
            Word(
                "head",
                "the class of emission device: fixed spray, rotor, rotary nozzle, dripline or bubbler",
            ),
            Word(
                "precipitation rate",
                "depth per hour that a zone’s heads apply. From the sky it is always called rain",
                short="PR",
                unit="mm/h",
            ),
            Word(
                "distribution uniformity",
                "how evenly the heads water: the mean of a zone’s driest quarter over the mean of "
                "all of it, 0 to 1",
                short="DU",
            ),
            Word(
                "zone audit",
                "rate, uniformity, pressure or heads of a zone, measured with cans or by the meter; until "
                "then the usual values of the class of heads stand there, marked assumed",
            ),
        ),
    ),
    WordGroup(
        "Water in the soil",
        (
            Word(
                "reference ET",
                "what a well-watered short grass would use in a day, from the weather alone",
                short="ETo",
                unit="mm/day",
            ),
            Word("landscape coefficient", "the factor of a planting on reference ET", short="KL"),
            Word(
                "landscape ET",
                "what a planting uses: reference ET times its coefficient",
                short="ETL",
                unit="mm/day",
            ),
            Word("root zone", "the soil that the roots reach; the balance counts its water"),
            Word("depletion", "water missing from the root zone since it was last full", unit="mm"),
            Word(
                "available water",
                "what the root zone can hold between field capacity and the wilting point",
                unit="mm",
            ),
            Word(
                "allowed depletion",
                "how much may be missing before the planting suffers",
                unit="mm",
            ),
            Word(
                "effective rain",
                "the part of the rain that stays in the root zone: no run-off, nothing that drains below",
                unit="mm",
            ),
            Word(
                "adequacy",
                "the share of the water a planting could use that it really gets",
                unit="%",
            ),
            Word("run-off limit", "the longest run before water leaves the surface", unit="min"),
        ),
    ),
    WordGroup(
        "Programs",
        (
            Word(
                "rule set, stage",
                "a supplier’s watering rules, and one dated step of them: days, hours, and whom it binds. Of "
                "stages in force at the same time the strictest counts",
            ),
            Word(
                "program",
                "days, start times and run minutes, as a letter on the controller; a start runs every "
                "station of the letter, one after the other",
            ),
            Word(
                "cycle and soak",
                "a run split into cycles with time to soak in between, so that nothing runs off",
            ),
            Word("seasonal adjust", "one figure that scales all run minutes of a program", unit="%"),
            Word("weekly round", "the weekly recomputation of all programs"),
            Word(
                "rule set",
                "the watering rules of a supplier or town: days, hours and limits, each with its dates",
            ),
            Word(
                "keyed in",
                "the program stands in the controller: a technician or the customer has entered it",
            ),
        ),
    ),
    WordGroup(
        "Sensors and their watch",
        (
            Word(
                "sensor",
                "a soil moisture sensor in the root zone that can block starts. It reads the tension of the "
                "soil’s water",
                unit="kPa",
            ),
            Word(
                "threshold",
                "the tension at which the sensor stops blocking. Lower is wetter",
                unit="kPa",
            ),
            Word(
                "bypass",
                "a start that the sensor blocked. A start that did not run for any other cause (rain delay, "
                "rule, power off) is a skip, never a bypass",
            ),
            Word("bypass rate", "bypassed starts over scheduled starts"),
            Word(
                "governing zone",
                "the zone where the sensor sits; it decides for every station of its controller",
            ),
            Word(
                "gating",
                "how the sensor acts: at any time, so that it can stop a run midway, or only at a start",
            ),
            Word(
                "sensor watch",
                "the daily comparison of expected and observed bypasses; it raises flags",
            ),
            Word(
                "flag",
                "a suspicion with its cause, its evidence and the day it began. It closes by a finding or by "
                "data",
            ),
        ),
    ),
    WordGroup(
        "Visits",
        (
            Word("visit need", "why somebody must go, with what each day of waiting costs"),
            Word("visit", "the planned call that meets one or more needs of a site"),
            Word("stop", "a visit’s place in a route"),
            Word("route", "one technician’s ordered day"),
            Word("shift", "working hours of a day"),
            Word("depot", "where a route starts and ends"),
            Word("promised window", "the hours that a customer was told"),
            Word("finding", "what a technician recorded at a stop"),
        ),
    ),
    WordGroup(
        "The account",
        (
            Word("water ledger", "used, needed and saved water by site and period"),
            Word("used", "metered, or estimated from programs and logs and then marked so", unit="m³"),
            Word(
                "needed",
                "what the plantings wanted beyond rain and stored water, with the losses that the zone’s own "
                "uniformity makes unavoidable",
                unit="m³",
            ),
            Word(
                "rebate",
                "money that a water supplier pays towards a sensor or other saving; often only for work that "
                "it approved beforehand, with photos and papers",
            ),
            Word(
                "baseline",
                "what the site would have used without its sensor, from its own use before, at this weather",
                unit="m³",
            ),
            Word(
                "saved",
                "baseline less used, always with its interval; “not enough data” where it is so",
                unit="m³",
            ),
        ),
    ),
)

WORDS: Final[tuple[Word, ...]] = tuple(word for group in GROUPS for word in group.words)
BY_SHORT: Final[dict[str, Word]] = {word.short: word for word in WORDS if word.short}
BY_TERM: Final[dict[str, Word]] = {word.term: word for word in WORDS}


def word_for(name: str) -> Word | None:
    """Return the word with this short form or term; None where the house has no such word."""
    return BY_SHORT.get(name) or BY_TERM.get(name)
