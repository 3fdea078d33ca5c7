"""What a reading or an answer on site means, and what to do next: decision help as data.

Bands of the sensor's resistance come from `ReadingBands` (from memory, settings); those of solenoids and
of the 24 V side are common practice without a published source. The unit's own sheet comes first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fleet.calc.on_site.sensor_reading import ReadingBands

_BANDS: Final = ReadingBands()


@dataclass(frozen=True, slots=True)
class Meaning:
    """What one band of numbers, or one answer, means.

    Parameters
    ----------
    words
        Meaning, in a few words.
    then
        What to do next.
    low, high
        Band of the number, from `low` on and below `high`, in the check's unit; None: open [-].
    choice
        Code of the answer, for checks with choices.
    is_good
        Nothing to do about it.
    """

    words: str
    then: str
    low: float | None = None
    high: float | None = None
    choice: str = ""
    is_good: bool = False


HELP: Final[dict[str, tuple[Meaning, ...]]] = {
    "resistance_kohm": (
        Meaning(
            "Wires touch, the cable is crushed or a splice is flooded: the sensor input sees wet "
            "soil and blocks.",
            "Part sensor and cable at the nearest splice and read both: the side that still reads "
            "next to nothing "
            "has the fault. Repair it, read again.",
            high=_BANDS.shorted_below_kohm,
        ),
        Meaning(
            "Saturated. Right after water; three or four days later it is ponding, a leak or a "
            "leaking splice.",
            "Probe the soil. Dry soil: open the splice. Wet soil: look for a leak or a low spot.",
            low=_BANDS.shorted_below_kohm,
            high=_BANDS.saturated_below_kohm,
        ),
        Meaning(
            "Working range.",
            "Compare the tension with what the balance expects. Far apart: probe the soil, then "
            "judge the place.",
            low=_BANDS.saturated_below_kohm,
            high=_BANDS.working_below_kohm,
            is_good=True,
        ),
        Meaning(
            "Lost soil contact, or a dry spot.",
            "Probe the soil. Moist soil: lift the sensor, soak it, set it again tight in its hole, "
            "read tomorrow.",
            low=_BANDS.working_below_kohm,
            high=_BANDS.lost_contact_below_kohm,
        ),
        Meaning(
            "Cut wire or failed splice: the sensor input sees dry soil and never blocks.",
            "Read at the sensor itself. It works there: mend the cable. It does not: a new sensor.",
            low=_BANDS.lost_contact_below_kohm,
        ),
    ),
    "wet_kohm": (
        Meaning(
            "It takes up water as a sensor should.",
            "Set it again in wet soil of its own, no air round it.",
            high=_BANDS.saturated_below_kohm * 2,
            is_good=True,
        ),
        Meaning(
            "It stays dry in water.",
            "A new sensor; until then let the clock run the program without it.",
            low=_BANDS.saturated_below_kohm * 2,
        ),
    ),
    "solenoid_ohm": (
        Meaning(
            "A short, or two valves on one output.", "Part the valves and read each by itself.", high=20.0
        ),
        Meaning("As usual for one valve.", "Go on.", low=20.0, high=60.0, is_good=True),
        Meaning(
            "An open circuit, or a splice that lets little through.",
            "Open the splices of this station; a joint may pass this test and still fail under load.",
            low=60.0,
        ),
    ),
    "power_v": (
        Meaning(
            "No power on the 24 V side.",
            "Outlet, plug and transformer. The mains side is for a licensed electrician.",
            high=20.0,
        ),
        Meaning("Low.", "Read again with one station on; it sags: the transformer.", low=20.0, high=24.0),
        Meaning("As it should be.", "Go on.", low=24.0, high=29.0, is_good=True),
        Meaning("High.", "Is it the right transformer? Leave it to whoever may change it.", low=29.0),
    ),
    "edge_m": (
        Meaning(
            "Too near: heat, edges and run-off from paving speak for the whole garden.",
            "Note it; open the page of places for a better one.",
            high=1.5,
        ),
        Meaning("Far enough.", "Go on.", low=1.5, is_good=True),
    ),
    "clock": (
        Meaning("In order.", "Go on.", choice="same", is_good=True),
        Meaning(
            "Another program runs than the book says: most calls are this.",
            "Write down what is set before you change it. Then key in the sheet and read it back.",
            choice="differs",
        ),
        Meaning(
            "No power, or it was switched off.", "Measure the 24 V side; ask who switched it.", choice="off"
        ),
    ),
    "overlap": (
        Meaning("In order.", "Go on.", choice="none", is_good=True),
        Meaning(
            "Programs run into each other or start twice: the timer puts them in a row, far into the day.",
            "Clear every start that is not on the sheet, in every letter.",
            choice="overlap",
        ),
    ),
    "sensor_active": (
        Meaning("The sensor has its say.", "Go on.", choice="on", is_good=True),
        Meaning(
            "The sensor has no say: every start runs.",
            "Ask who did it and why, then switch it on. Confirm the flag's cause as switched off.",
            choice="off",
        ),
    ),
    "blocking": (
        Meaning("As it should be.", "Go on.", choice="fits", is_good=True),
        Meaning(
            "It blocks although the soil is dry: sensor, splice or setting.",
            "Read the sensor. Next to nothing: a short. In its range: the setting is too dry, or the "
            "place too wet.",
            choice="on_dry",
        ),
        Meaning(
            "It lets run although the soil is wet.",
            "Read the sensor. No reading: an open circuit. In its range: the setting is too wet, or "
            "the place too "
            "dry.",
            choice="off_wet",
        ),
    ),
    "splice": (
        Meaning("In order.", "Close it again, watertight.", choice="dry", is_good=True),
        Meaning(
            "Reads as wet soil.", "Cut back to clean copper, new watertight splice, read again.", choice="wet"
        ),
        Meaning("Blocks at random.", "New watertight splice, pull on each wire, read again.", choice="loose"),
        Meaning("Nobody knows yet.", "Note where it is; raise a follow-up.", choice="closed"),
    ),
    "soil_feel": (
        Meaning("The place speaks for its zone.", "Go on.", choice="same", is_good=True),
        Meaning(
            "Wetter at the sensor: low spot, leak, shade or a head on top of it.",
            "Find the water. Nothing found: another place, see the page of places.",
            choice="wet_here",
        ),
        Meaning(
            "Drier at the sensor: uncovered spot, edge or roots.",
            "Run the station and watch that spot. Not covered: heads. Covered: another place.",
            choice="dry_here",
        ),
    ),
    "turf": (
        Meaning("In order.", "Go on.", choice="good", is_good=True),
        Meaning(
            "Evenly dry: the threshold is too dry, or something blocks too much.",
            "One step wetter on the threshold, if the sensor reads right.",
            choice="evenly_dry",
        ),
        Meaning(
            "Patches: coverage, not the sensor.",
            "Heads: pressure, nozzle, arc, tilt, grass over them. Catch cans where you cannot tell.",
            choice="patchy",
        ),
        Meaning("Too wet, or a valve leaks.", "All stations off: does the meter still turn?", choice="soggy"),
    ),
}


def solenoid_ohm(reading_ohm: float, cable_ohm: float) -> float:
    """Resistance of a solenoid alone: what was read at the timer less the cable, there and back [ohm].

    Parameters
    ----------
    reading_ohm
        Read between station and common at the timer [ohm].
    cable_ohm
        Of the cable, there and back [ohm].
    """
    if cable_ohm < 0 or cable_ohm > reading_ohm:
        raise ValueError("the cable cannot have less than nothing, nor more than cable and valve together")
    return reading_ohm - cable_ohm


# Copper at 20 degC: 0.01724 ohm mm2/m (annealed copper standard, IEC 60028:1925).
COPPER_OHM_MM2_PER_M: Final = 0.01724


def cable_ohm(length_m: float, section_mm2: float) -> float:
    """Resistance of a pair of copper wires, there and back, at 20 degC [ohm].

    Parameters
    ----------
    length_m
        Length of the way, once [m].
    section_mm2
        Section of one wire [mm2].
    """
    if length_m < 0 or section_mm2 <= 0:
        raise ValueError("a cable has a length of 0 or more and a section above 0")
    return 2.0 * length_m * COPPER_OHM_MM2_PER_M / section_mm2
