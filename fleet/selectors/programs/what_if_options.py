"""Lists to choose from on the page of what if."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sites.calc import landscape, soil
from sites.calc.rules.stages import Stage
from sites.calc.search.garden import Garden
from sites.models.choices import Head
from sites.selectors.round_garden import GardenBook

# Days that municipal rules commonly leave (trade practice), to try beside the rule set's own stages.
COMMON_STAGES: Final[dict[str, tuple[str, Stage | None]]] = {
    "none": ("no watering rule", None),
    "every": ("every day", Stage(name="every day")),
    "other": ("every other day, odd dates", Stage(name="odd dates", dates="odd")),
    "two": ("two days a week", Stage(name="two days", weekdays={"": (2, 5)}, max_days_per_week=2)),
    "one": ("one day a week", Stage(name="one day", weekdays={"": (5,)}, max_days_per_week=1)),
    "ban": ("no watering at all", Stage(name="ban", max_days_per_week=0, weekdays={"": ()})),
}


@dataclass(frozen=True, slots=True)
class Option:
    """An entry of a list to choose from; a threshold with the depletion it stands for and its spread [mm]."""

    value: str
    word: str
    is_chosen: bool
    gone_mm: float | None = None
    spread_mm: float | None = None


def is_governed(garden: Garden) -> bool:
    """Whether a sensor governs."""
    return bool(garden.controller.is_governed[0])


def may_share(garden: Garden) -> bool:
    """Whether timer and supply already let two stations run at once."""
    table = garden.controller
    return bool(table.stations_at_once[0] >= 2 and np.isfinite(table.flow_limit_l_min[0]))


def threshold_options(book: GardenBook, chosen: float) -> tuple[Option, ...]:
    """Settings of the unit and the one that is set."""
    if not is_governed(book.garden):
        return ()
    known = {*book.steps_kpa, book.garden.threshold_kpa, chosen}
    return tuple(
        Option(
            f"{step:g}",
            f"{step:g} kPa{', as set' if step == book.garden.threshold_kpa else ''}",
            step == chosen,
            *_gone_mm(book.garden, step),
        )
        for step in sorted(step for step in known if step > soil.FIELD_CAPACITY_KPA)
    )


def _gone_mm(garden: Garden, kpa: float) -> tuple[float, float]:
    """Depletion of the governing zone at a threshold, and its spread [mm]."""
    at = int(garden.zones.is_governing.argmax())
    texture = int(garden.zones.soil[at])
    depth = float(soil.threshold_depletion_mm(texture, kpa, float(garden.zones.root_depth_mm[at])))
    spread = float(soil.depletion_fraction_sd(texture) * garden.zones.total_available_water_mm[at])
    return depth, spread


def governing_options(book: GardenBook, chosen: int) -> tuple[Option, ...]:
    """Stations that could hold the sensor."""
    if not is_governed(book.garden):
        return ()
    return tuple(
        Option(
            str(int(station)), f"{int(station)} {book.names.get(int(station), '')}", int(station) == chosen
        )
        for station in book.garden.zones.station
    )


def head_options(book: GardenBook, changed: Garden) -> tuple[tuple[int, str, tuple[Option, ...]], ...]:
    """Heads of each station."""
    return tuple(
        (
            int(station),
            book.names.get(int(station), ""),
            tuple(
                Option(head, Head(head).label, landscape.HEADS.index(head) == int(kind))
                for head in landscape.HEADS
            ),
        )
        for station, kind in zip(changed.zones.station, changed.zones.head, strict=True)
    )


def at_once_options(garden: Garden, chosen: str) -> tuple[Option, ...]:
    """One station at a time, or two."""
    now = "2" if may_share(garden) else "1"
    words = {"1": "one", "2": "two, where one does not fit the hours"}
    return tuple(
        Option(value, f"{word}, as in the book" if value == now else word, value == (chosen or now))
        for value, word in words.items()
    )


def stage_options(book: GardenBook, chosen: str) -> tuple[Option, ...]:
    """Stages to choose from: as the rules stand, those of the rule set alone, common ones."""
    own = [(f"own{at}", f"“{stage.name}” alone") for at, stage in enumerate(book.stages)]
    common = [(value, word) for value, (word, _) in COMMON_STAGES.items()]
    return tuple(
        Option(value, word, value == chosen) for value, word in [("", "as the rules stand"), *own, *common]
    )
