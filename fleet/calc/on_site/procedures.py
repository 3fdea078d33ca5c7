"""Two jobs step by step: a new sensor in the ground, and the exchange of two station wires.

Common practice without a published source, with the advice of university extension guides in mind (titles
seen, details from memory). No step names the terminals or wire colours of a particular unit.
"""

from __future__ import annotations

from typing import Final

from fleet.calc.on_site.check_steps import DIGGING, PAPERS, TENSION, TRANSFORMER, YES_NO, Check

NEW_SENSOR: Final = (
    Check(
        "prewet",
        "Take the sensor out of its water: it must have stood in water for hours and goes in wet.",
        meaning="A dry matrix sensor takes days before it reads the soil.",
    ),
    PAPERS,
    Check(
        "wet_kohm",
        "Read the sensor while it is still in the water, and note it.",
        "near its wet end",
        caution=TRANSFORMER,
        answer="number",
        unit="kohm",
    ),
    Check(
        "ticket",
        "Check the locate ticket and the paint marks.",
        caution=DIGGING,
        answer="choice",
        choices=(("valid", "valid"), ("none", "none: do not dig")),
        photo="paint marks and place before the dig",
    ),
    Check(
        "edge_m",
        "Find the place that the page of places names; measure to the nearest edge, paving or wall.",
        "1.5 m (5 ft) or more, mid-pattern, not beside a head, not in a low spot",
        "Sun, slope or roots there that the book does not know? Take the next place of the list and "
        "note why.",
        answer="number",
        quantity="length",
    ),
    Check(
        "spare",
        "Look for unused conductors in the nearest valve box: they shorten the dig.",
        answer="choice",
        choices=YES_NO,
        photo="the box, open",
    ),
    Check(
        "core",
        "Core the hole to the sensor's own size and to the middle of the roots, so that soil touches "
        "it all round; "
        "no air gap.",
        "80 to 150 mm (3 to 6 in) deep in turf",
        answer="number",
        quantity="depth_whole",
        photo="the sensor in its hole, before it is covered",
    ),
    Check(
        "slurry",
        "Fill round it with a slurry of the soil that came out, and press the turf back level.",
        meaning="A hollow over the sensor collects water: it would read too wet.",
    ),
    Check(
        "splices",
        "Close every splice watertight, pull on each wire, and lay some cable in a loop in the box.",
        caution=TRANSFORMER,
        photo="the splices",
    ),
    TENSION,
    Check(
        "input_on",
        "Join it to the sensor input as the unit's own sheet says, and switch the input on.",
        answer="choice",
        choices=(("on", "on, and it answers"), ("off", "it does not answer")),
        caution=TRANSFORMER,
    ),
    Check("moist_side", "Set the threshold on the moist side; it moves drier only after a watched interval."),
    Check(
        "run_seen",
        "Run the station some minutes: water reaches the spot from all sides, and the wires lie covered.",
        photo="the place when all is done",
    ),
)
EXCHANGE_OF_WIRES: Final = (
    Check(
        "pair",
        "Read on the sheet which two stations change places, and run each for a minute: is it the "
        "zone it says?",
        "each waters the zone that the book names",
        "Another zone: stop. The book is wrong; note which station waters what.",
        answer="choice",
        choices=(("same", "as the book says"), ("differs", "differs: stop and note it")),
    ),
    Check(
        "wires_off",
        "Unplug the transformer.",
        caution=TRANSFORMER,
        photo="the terminals before",
    ),
    Check("tape", "Mark both wires with tape and number before you loosen either."),
    Check("exchange", "Exchange the two station wires at the terminals that the sheet names."),
    Check("tight", "Pull on both: neither moves, no strand stands out.", photo="the terminals after"),
    Check(
        "both_run",
        "Plug the transformer in and run both stations: each waters what the new label will say.",
        answer="choice",
        choices=(("right", "both right"), ("wrong", "one does not")),
    ),
    Check(
        "label",
        "Change the label in the lid: the garden's page prints it.",
        photo="the label in the lid",
    ),
    Check(
        "key_after",
        "Key in the program of the sheet that was made for the new order, and read it back.",
        "the controller shows its next start as the sheet says",
        "The old minutes would now water the wrong zones.",
    ),
)
