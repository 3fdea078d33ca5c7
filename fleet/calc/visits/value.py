"""What a day of waiting costs, and how long the work takes.

Value per day of waiting = water at stake x price + turf at risk + promise broken; where no value is known,
10 x priority. It is the value lost when a need is served a day later, not its total worth (the
variable-profit form of orienteering: Vansteenwegen, Souffriau and Van Oudheusden 2011, survey).
"""

from __future__ import annotations

from typing import Final

LITRES_PER_M3: Final = 1000.0
DAYS_PER_WEEK: Final = 7.0

# Time on the spot by kind of visit [min], with the walk in. Planning assumptions: no published table of task
# times was found; findings replace them by the company's own times later.
SERVICE_MIN: Final[dict[str, float]] = {
    "start_up": 60.0,
    "audit": 75.0,
    "sensor_check": 40.0,
    "sensor_install": 90.0,
    "program_change": 20.0,
    "repair": 60.0,
    "move_station_wire": 30.0,
    "dig": 120.0,
    "backflow_test": 30.0,
    "winterize": 45.0,
    "complaint": 45.0,
    "survey": 60.0,
    "log_missing": 20.0,
}
# What somebody must be able to do for it, in the words of the technicians file.
SKILLS: Final[dict[str, tuple[str, ...]]] = {
    "backflow_test": ("backflow",),
    "move_station_wire": ("wiring",),
    "sensor_install": ("wiring",),
    "dig": ("dig",),
}
# Skills that count only with a certificate that is valid on the day: local codes ask for it.
CERTIFIED: Final = frozenset({"backflow"})
# A second need at the same site shares getting in, the walk to the timer and tidying up [min].
SHARED_MIN: Final = 10.0


# Days beyond allowed depletion after which a zone's lawn counts as lost [d].
TURF_LOST_DAYS: Final = 14.0


def water_value(litres_per_week: float, price_per_m3: float) -> float:
    """Money lost with the water of a day of waiting [money/day].

    Parameters
    ----------
    litres_per_week
        Water at stake [L/week], 0 or more.
    price_per_m3
        Price of water [money/m3].
    """
    if not (litres_per_week >= 0 and price_per_m3 >= 0):
        raise ValueError("water and its price must be 0 or more")
    return litres_per_week / DAYS_PER_WEEK / LITRES_PER_M3 * price_per_m3


def turf_value(
    dry_zone_days: float,
    days: float,
    area_m2: float,
    cost_per_m2: float,
    lost_after_days: float = TURF_LOST_DAYS,
) -> float:
    """Lawn put at risk by a day of waiting [money/day].

    A zone-day beyond allowed depletion is counted as one fourteenth of losing that zone's lawn: quality loss
    grows to about two weeks (own judgement after the drought trials quoted by Fu, Fry and Huang 2004).

    Parameters
    ----------
    dry_zone_days
        Zone-days beyond allowed depletion over the span [d].
    days
        The span [d].
    area_m2
        Area of one zone at risk [m2].
    cost_per_m2
        Cost of replacing it [money/m2].
    lost_after_days
        Days beyond allowed depletion that count as losing the lawn [d].
    """
    if not (dry_zone_days >= 0 and days > 0 and area_m2 >= 0 and cost_per_m2 >= 0 and lost_after_days > 0):
        raise ValueError("zone-days, area and cost must be 0 or more, the spans more than 0")
    return dry_zone_days / days / lost_after_days * area_m2 * cost_per_m2


def stated_value(value_per_day: float | None, priority: float | None, priority_value: float) -> float:
    """Stated value, else priority x its value [money/day]; 0 where neither is given.

    Parameters
    ----------
    value_per_day
        As stated [money/day]; None: not stated.
    priority
        Step 1 to 5; None: not stated.
    priority_value
        Value of one step [money/day].
    """
    if value_per_day is not None:
        return value_per_day
    return priority * priority_value if priority is not None else 0.0


def merged_service_min(service_min: list[float]) -> float:
    """Time on the spot of one visit that meets several needs [min].

    Parameters
    ----------
    service_min
        Time of each need by itself [min]; all but the longest save what is shared.
    """
    if not service_min:
        return 0.0
    longest = max(service_min)
    others = sorted(service_min)[:-1]
    return longest + sum(max(other - SHARED_MIN, 5.0) for other in others)


def value_sentence(parts: dict[str, float], currency: str) -> str:
    """How a value came about, in words; amounts in money per day [money/day].

    Parameters
    ----------
    parts
        Money per day by part: water, turf, promise, contract, priority [money/day].
    currency
        Three letters behind each amount [-].
    """
    words = {
        "water": "water at stake",
        "turf": "lawn at risk",
        "promise": "promise to the customer",
        "contract": "visit that the customer has paid for",
        "priority": "stated value",
    }
    named = [f"{words[name]} {parts[name]:.2f} {currency}" for name in words if parts.get(name, 0) > 0]
    return ", ".join(named) + " a day" if named else "nothing at stake that could be counted"
