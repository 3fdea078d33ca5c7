"""What to do at a site for each reason of a visit: the order of its checks, and the cautions of a stop."""

from __future__ import annotations

from typing import Final

from fleet.calc.on_site.check_steps import (
    BACKFLOW,
    BLOCKING,
    BLOW_OUT,
    CLOCK,
    COUNTER,
    DIGGING,
    KEY_IN,
    LOCAL_CODES,
    OVERLAP,
    PLACE,
    POWER,
    SENSOR_ACTIVE,
    SOIL_FEEL,
    SOLENOID,
    SPLICE,
    SUPPLY_OFF,
    TENSION,
    TRANSFORMER,
    TURF,
    WALK,
    WET_CHECK,
    YES_NO,
    Check,
)
from fleet.calc.on_site.procedures import EXCHANGE_OF_WIRES, NEW_SENSOR

HEAT_FROM_C: Final = 32.0

_SENSOR: Final = (CLOCK, SENSOR_ACTIVE, BLOCKING, TENSION, SOIL_FEEL, SPLICE, WET_CHECK, PLACE, TURF)
# Order of checks by suspected cause: the likeliest and cheapest first.
BY_CAUSE: Final[dict[str, tuple[Check, ...]]] = {
    "stuck_wet": (CLOCK, BLOCKING, TENSION, SPLICE, SOIL_FEEL, WET_CHECK, TURF),
    "stuck_dry": (CLOCK, SENSOR_ACTIVE, TENSION, SPLICE, SOIL_FEEL, WET_CHECK, PLACE, TURF),
    "reads_wet": (CLOCK, BLOCKING, SOIL_FEEL, TENSION, SPLICE, PLACE, WALK, TURF),
    "reads_dry": (CLOCK, SENSOR_ACTIVE, SOIL_FEEL, TENSION, PLACE, WALK, TURF),
    "erratic": (CLOCK, SPLICE, TENSION, BLOCKING, TURF),
    "program_differs": (CLOCK, OVERLAP, KEY_IN),
    "overridden": (SENSOR_ACTIVE, CLOCK, TURF),
    "no_power": (POWER, CLOCK),
}
BY_KIND: Final[dict[str, tuple[Check, ...]]] = {
    "sensor_check": _SENSOR,
    "program_change": (CLOCK, OVERLAP, KEY_IN, TURF),
    "log_missing": (CLOCK, COUNTER, SENSOR_ACTIVE),
    "audit": (CLOCK, SENSOR_ACTIVE, WALK, TURF),
    "complaint": (
        Check("heard", "Let the customer show you what they mean; note their words.", answer="text"),
        CLOCK,
        OVERLAP,
        WALK,
        TURF,
    ),
    "repair": (Check("supply_off", "Shut the supply off.", caution=SUPPLY_OFF), SOLENOID, WALK),
    "start_up": (
        Check(
            "backflow_due",
            "Is the backflow assembly's test due before the water goes on?",
            "not due, or tested",
            "Out of use for more than three months may ask for a test first, depending on where you are.",
            caution=BACKFLOW,
            answer="choice",
            choices=(("clear", "not due or tested"), ("due", "test due: leave the water off")),
        ),
        Check(
            "slow_fill",
            "Open the main valve slowly and let the air out.",
            caution="A fast fill hammers and breaks pipes.",
        ),
        CLOCK,
        WALK,
        SENSOR_ACTIVE,
    ),
    "winterize": (
        Check("winter_off", "Close the supply and switch the controller to off.", caution=SUPPLY_OFF),
        Check("blow_out", "Blow out one zone at a time until it is dry, then stop.", caution=BLOW_OUT),
        Check("drains", "Open drains; set ball valves at 45 degrees."),
    ),
    "backflow_test": (
        Check("tested", "Test report filed?", caution=BACKFLOW, answer="choice", choices=YES_NO),
    ),
    "move_station_wire": EXCHANGE_OF_WIRES,
    "sensor_install": NEW_SENSOR,
    "dig": (
        Check(
            "ticket",
            "Check the locate ticket and the paint marks.",
            caution=DIGGING,
            answer="choice",
            choices=(("valid", "valid"), ("none", "none: do not dig")),
        ),
        Check("supply_off", "Shut the supply off.", caution=SUPPLY_OFF),
        Check(
            "spare",
            "Look for unused conductors in the nearest valve box: they shorten the dig.",
            answer="choice",
            choices=YES_NO,
        ),
        Check("splices", "Close every splice watertight.", caution=TRANSFORMER),
    ),
    "survey": (
        Check(
            "stations",
            "Count stations and programs of each controller, and note how it takes its days.",
            answer="text",
        ),
        Check(
            "zones",
            "Walk each zone: plants, heads, sun, slope, soil by feel, root depth by probe.",
            answer="text",
        ),
        Check("boxes", "Find valve boxes and count unused conductors.", answer="text"),
        Check("water", "Find meter, shut-off and backflow assembly.", caution=BACKFLOW, answer="text"),
    ),
}
DIG_KINDS: Final = frozenset({"dig", "sensor_install"})


def checks_for(kind: str, cause: str = "") -> tuple[Check, ...]:
    """Ordered checks for one reason; as its text says [-].

    Parameters
    ----------
    kind
        Kind of visit [-].
    cause
        Suspected cause of a flag, empty where there is none [-].
    """
    if kind == "sensor_check" and cause in BY_CAUSE:
        return BY_CAUSE[cause]
    if kind not in BY_KIND:
        raise ValueError(f"no checks for visits of kind {kind!r}")
    return BY_KIND[kind]


def cautions_for(kinds: frozenset[str], tmax_c: float | None, tmax_words: str = "") -> tuple[str, ...]:
    """Cautions of a whole stop, the general word last.

    Parameters
    ----------
    kinds
        Kinds of the needs met [-].
    tmax_c
        Expected maximum air temperature of the day [degC]; None: not known.
    tmax_words
        The same in the reader's unit; empty: as it is.
    """
    found = []
    if kinds & DIG_KINDS:
        found.append(DIGGING)
    if kinds & {"sensor_check", "sensor_install", "move_station_wire", "dig", "repair"}:
        found.append(TRANSFORMER)
    if kinds & {"repair", "dig"}:
        found.append(SUPPLY_OFF)
    if kinds & {"backflow_test", "start_up", "winterize"}:
        found.append(BACKFLOW)
    if "winterize" in kinds:
        found.append(BLOW_OUT)
    if tmax_c is not None and tmax_c >= HEAT_FROM_C:
        heat = tmax_words or f"{tmax_c:.0f} °C"
        found.append(f"{heat} expected: water, shade, rest, and somebody who knows where you are.")
    return (*found, LOCAL_CODES)
