"""Which source tells which variable of a day, where several told it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from weather.calc.new_days import FORECAST, RAW, WIND_HEIGHT_M

FILES: Final = "files"
# What belongs together comes from one source: a dew point of one and humidities of another would not fit.
GROUPS: Final[dict[str, tuple[str, ...]]] = {
    "temperature": ("tmin_c", "tmax_c"),
    "humidity": ("tdew_c", "rh_min_pct", "rh_max_pct"),
    "wind": ("wind_m_s",),
    "solar": ("solar_mj_m2",),
    "rain": ("rain_mm",),
}
VARIABLES: Final = (*GROUPS, FORECAST)
# Own files first: an operator who brings a station's days knows why. Then stations, then grids.
OBSERVED_ORDER: Final = (FILES, "ncei", "nasa_power")
FORECAST_ORDER: Final = (FILES, "nws", "open_meteo")
# Each service as pages name it, and what it gives.
SOURCE_WORDS: Final[Mapping[str, tuple[str, str]]] = {
    "nasa_power": ("NASA POWER", "measured days of a global grid"),
    "nws": ("US National Weather Service", "forecast of a week"),
    "ncei": ("NCEI daily summaries", "measured days of stations nearby, rain above all"),
    "open_meteo": (
        "Open-Meteo",
        "forecast of models; off until the operator has the key of a paid plan",
    ),
}
Values = tuple[float | None, ...]


def default_order(variable: str) -> tuple[str, ...]:
    """Sources of a variable where nobody set another order.

    Parameters
    ----------
    variable
        One of `VARIABLES` [1].

    Returns
    -------
    tuple[str, ...]
        Names of sources, the first one counts [1].
    """
    return FORECAST_ORDER if variable == FORECAST else OBSERVED_ORDER


def source_of_label(label: str) -> str:
    """Source that a stored label stands for: all files are one source.

    Parameters
    ----------
    label
        Name of a service, or `file weather.csv` [1].

    Returns
    -------
    str
        Name of the source [1].
    """
    return FILES if label.startswith("file ") else label


@dataclass(frozen=True, slots=True)
class Told:
    """One source's day.

    Parameters
    ----------
    values
        Raw values in the order of `RAW` [as named].
    flags
        Code words of the checks [1].
    label
        What is shown as its source [1].
    """

    values: Values
    flags: str
    label: str


@dataclass(frozen=True, slots=True)
class ChosenDay:
    """A day put together from its sources.

    Parameters
    ----------
    values
        Raw values in the order of `RAW` [as named].
    flags
        Code words of the checks of all sources that count [1].
    label
        Source of the most of it [1].
    parts
        `rain:ncei` for each group that another source tells, separated by blanks [1].
    """

    values: Values
    flags: str
    label: str
    parts: str


def choose_sources(told: Mapping[str, Told], order: Mapping[str, Sequence[str]], kind: str) -> ChosenDay:
    """A day from what several sources told of it: each group from the first source that knows it.

    Parameters
    ----------
    told
        What each source told, at least one [as named].
    order
        Sources by variable; one that it does not name is used where the order is the default one [1].
    kind
        `observed`, or `forecast`, whose groups all follow the order of `forecast` [1].

    Returns
    -------
    ChosenDay
        The day [as named].
    """
    if len(told) == 1 and not order:
        ((_, only),) = told.items()
        return ChosenDay(only.values, only.flags, only.label, "")
    values: dict[str, float | None] = dict.fromkeys(RAW)
    values["wind_height_m"] = WIND_HEIGHT_M
    chosen: dict[str, str] = {}
    for group, names in GROUPS.items():
        variable = FORECAST if kind == FORECAST else group
        found = _first(told, names, _ranked(told, order, variable))
        if found is None:
            continue
        chosen[group] = found
        known = dict(zip(RAW, told[found].values, strict=True))
        values |= {name: known[name] for name in names}
        if group == "wind":
            values["wind_height_m"] = known["wind_height_m"]
    used = list(chosen.values())
    main = chosen.get("temperature") or (used[0] if used else next(iter(sorted(told))))
    words = [f"{group}:{source}" for group, source in chosen.items() if source != main]
    flags = sorted({word for source in {*used} for word in told[source].flags.split()})
    return ChosenDay(tuple(values[name] for name in RAW), " ".join(flags), told[main].label, " ".join(words))


def _ranked(told: Mapping[str, Told], order: Mapping[str, Sequence[str]], variable: str) -> list[str]:
    """Sources that may tell a variable, best first."""
    if variable in order:
        return [name for name in order[variable] if name in told]
    default = default_order(variable)
    rest = sorted(name for name in told if name not in default)
    return [*(name for name in default if name in told), *rest]


def _first(told: Mapping[str, Told], names: Sequence[str], ranked: Sequence[str]) -> str | None:
    """The first source that knows a whole group, else the first that knows a part of it."""
    places = [RAW.index(name) for name in names]
    known = {name: sum(told[name].values[at] is not None for at in places) for name in ranked}
    is_pair = names == GROUPS["temperature"]
    whole = next((name for name in ranked if known[name] == len(places)), None) if is_pair else None
    return whole or next((name for name in ranked if known[name]), None)
