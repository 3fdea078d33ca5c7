"""Steps and cautions of site visits, as data that `checks` puts in order.

The facts of the trade in here are common practice without a published source, unless a line names one. No
number is the reading of a particular unit: where a unit's own scale matters, the text says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

TRANSFORMER: Final = "Unplug the transformer before you touch wiring. Only the 24 V side is ours."
DIGGING: Final = (
    "Dig only with a valid locate ticket, respect the marks, and dig by hand near them. Private lines "
    "(irrigation, garden lights, gas to a grill) are not marked by the locate service."
)
BACKFLOW: Final = "Testing and changing backflow assemblies is for certified testers only."
BLOW_OUT: Final = (
    "Winter blow-out: keep to the pressure limit of the pipe (80 psi rigid, 50 psi soft pipe are common "
    "practice), wear eye protection, never stand over heads or the assembly, one zone at a time."
)
SUPPLY_OFF: Final = "Shut the water supply off before you open any part that is under pressure."
LOCAL_CODES: Final = "Local codes and licensed practice come first. This sheet is not a permit."


@dataclass(frozen=True, slots=True)
class Check:
    """One deed or reading on site.

    Parameters
    ----------
    code
        Name under which the answer is kept.
    text
        What to do.
    expect
        Reading to expect, with its unit; empty for a deed.
    meaning
        What another answer means.
    caution
        Must be read before this step; empty for none.
    answer
        `done`, `number`, `choice` or `text`.
    unit
        Unit of a number.
    choices
        Code and words of each choice.
    quantity
        Kind of quantity of a number that is typed in the reader's own units; then `unit` is empty.
    photo
        What to photograph at this step; empty for nothing.
    """

    code: str
    text: str
    expect: str = ""
    meaning: str = ""
    caution: str = ""
    answer: str = "done"
    unit: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    quantity: str = ""
    photo: str = ""

    def __post_init__(self) -> None:
        if self.answer not in ("done", "number", "choice", "text"):
            raise ValueError(f"answer of {self.code} is {self.answer!r}")
        if (self.answer == "choice") != bool(self.choices):
            raise ValueError(f"check {self.code}: choices go with the answer `choice`")


YES_NO: Final = (("yes", "yes"), ("no", "no"))
TURF: Final = Check(
    "turf",
    "Look at the lawn of the governing zone: is its colour even?",
    "even and green",
    "Patches inside the zone: a question of coverage (heads, pressure), not of the sensor. Evenly dry: the "
    "setting is too dry or something blocks too much. Soggy: it is too wet or a valve leaks.",
    answer="choice",
    choices=(
        ("good", "even and green"),
        ("evenly_dry", "evenly dry"),
        ("patchy", "patchy"),
        ("soggy", "soggy"),
    ),
)
CLOCK: Final = Check(
    "clock",
    "Read date and time on the controller, all programs and their starts, the seasonal adjust, the battery.",
    "as the sheet says",
    "Another program, a forgotten letter or stacked starts explain more calls than sensors do.",
    answer="choice",
    choices=(("same", "as the sheet says"), ("differs", "differs"), ("off", "off or dark")),
)
SENSOR_ACTIVE: Final = Check(
    "sensor_active",
    "Is the sensor input switched on at the controller?",
    "on",
    "Switched off: the sensor has no say. Ask who did it and why before you switch it on.",
    answer="choice",
    choices=(("on", "on"), ("off", "switched off")),
)
TENSION: Final = Check(
    "resistance_kohm",
    "Read the sensor at its terminals with an AC-excited reader, and the soil temperature beside it.",
    "within the working range that the unit's own sheet names",
    "Next to nothing: wires touch, or a splice is flooded (it blocks always). No reading: a cut wire or a "
    "failed splice (it never blocks). A plain direct-current meter spoils the reading.",
    caution=TRANSFORMER,
    answer="number",
    unit="kohm",
)
WET_CHECK: Final = Check(
    "wet_kohm",
    "Where the reading is in doubt: stand the sensor in water for half an hour and read it again.",
    "near its wet end within half an hour",
    "It stays dry in water: the sensor is worn. From memory; the unit's own sheet comes first.",
    caution=TRANSFORMER,
    answer="number",
    unit="kohm",
)
OVERLAP: Final = Check(
    "overlap",
    "Add up each letter's pass from its first start: does one run into the next, or start twice?",
    "each pass ends before the next begins",
    "A forgotten start in another letter runs after the others and past the permitted hours.",
    answer="choice",
    choices=(("none", "none overlap"), ("overlap", "they overlap")),
)
SOLENOID: Final = Check(
    "solenoid_ohm",
    "A station that does not run: read it between its output and the common, wires off. Take the cable off "
    "the reading: both ways, length and thickness.",
    "20 to 60 ohm without the cable (common practice, no source)",
    "Low: a short or two valves at once. High: an open wire or a poor splice.",
    caution=TRANSFORMER,
    answer="number",
    unit="ohm",
)
SOIL_FEEL: Final = Check(
    "soil_feel",
    "Probe the soil beside the sensor and three metres away in the same zone.",
    "the same feel",
    "Wet here and dry there: a low spot, a leak or a head on top of it. Dry here and wet there: an uncovered "
    "spot, an edge, or roots of a tree.",
    answer="choice",
    choices=(("same", "the same"), ("wet_here", "wetter at the sensor"), ("dry_here", "drier at the sensor")),
)
SPLICE: Final = Check(
    "splice",
    "Open the splices in the valve box.",
    "dry inside, watertight, no green on the copper",
    "A wet splice reads as wet soil; a loose one blocks at random.",
    caution=TRANSFORMER,
    answer="choice",
    choices=(("dry", "dry"), ("wet", "wet or green"), ("loose", "loose"), ("closed", "could not open")),
)
PLACE: Final = Check(
    "edge_m",
    "Measure from the sensor to the nearest edge, paving or wall of its zone.",
    "1.5 m (5 ft) or more, in the middle of the heads' pattern",
    "Nearer: heat and dry edges, or run-off from paving, speak for the whole garden.",
    answer="number",
    quantity="length",
)
BLOCKING: Final = Check(
    "blocking",
    "Is the blocking indicator on, and does that fit the soil that you felt?",
    "on in wet soil, off in dry soil",
    "On in dry soil or off in wet soil: the sensor, its splice or its setting is wrong.",
    answer="choice",
    choices=(("fits", "fits"), ("on_dry", "on in dry soil"), ("off_wet", "off in wet soil")),
)
POWER: Final = Check(
    "power_v",
    "Measure the voltage at the controller's 24 V side.",
    "24 to 28 V",
    "Nothing: the outlet or the transformer. The mains side is for a licensed electrician.",
    answer="number",
    unit="V",
)
WALK: Final = Check(
    "walk",
    "Run each station two or three minutes and walk it: leaks, tilted, sunken, clogged or mixed heads, mist, "
    "overspray, run-off.",
    "none",
    "Coverage is put right before any sensor is judged.",
    answer="text",
)
KEY_IN: Final = Check(
    "keyed_in",
    "Key in the program from the sheet, old against new, and read it back.",
    "the controller shows its next start as the sheet says",
    answer="choice",
    choices=(("all", "all keyed in"), ("part", "in part"), ("none", "not keyed in")),
)
PAPERS: Final = Check(
    "papers",
    "Before you start: photograph the controller's face and the place. Before you cover it: the sensor in "
    "the ground. Note make, model and serial number, and keep the itemized invoice.",
    meaning="Water suppliers pay rebates for such sensors; many pay only for work that they approved before "
    "it began, with photos, papers and an inspection. Their own page says what counts.",
    answer="choice",
    choices=(("all", "all kept"), ("part", "in part"), ("none", "no rebate asked for")),
)
COUNTER: Final = Check(
    "counter",
    "Read the counter of blocked starts where there is one, and note it with date and time.",
    "",
    "",
    answer="number",
    unit="starts",
)
