"""What a site book may hold: its kinds, their shapes, their columns, and the short names of shapefiles."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final
from zoneinfo import available_timezones

from sites.models.choices import Gating, Head, Plant, Soil, StationOrder, StructureType, Sun
from weather.calc.csv_cells import FORMULA_SIGNS
from weather.importing.rows import CellError, Column, choice, clock, day, number, text, truth, whole

DAY_MODES: Final = ("weekdays", "interval", "odd", "even")
POINT: Final = frozenset({"Point"})
LINE: Final = frozenset({"LineString", "MultiLineString"})
GROUND: Final = frozenset({"Polygon", "MultiPolygon"})


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of thing in the book.

    Parameters
    ----------
    name
        As in `properties.kind`, and as the name of its layer.
    key
        Columns that name one thing of this kind; things without a name are known by their shape.
    shapes
        Types of geometry that it may have.
    needs_shape
        Whether it is refused without one.
    columns
        What the book may say of it.
    """

    name: str
    key: tuple[str, ...]
    shapes: frozenset[str]
    needs_shape: bool
    columns: tuple[Column, ...]


def code(cell: str) -> str:
    """A code of a site or controller: short, and safe in an address, a list and a spreadsheet."""
    if len(cell) > 40 or any(sign in "/\\,;\"'<>" or ord(sign) < 32 for sign in cell):
        raise CellError("a code of at most 40 characters without / \\ , ; quotes or <>")
    if cell.startswith(FORMULA_SIGNS) or not cell.strip("."):
        raise CellError("a code that does not begin with = + - @ and is not only dots")
    return cell


def email(cell: str) -> str:
    """An address for letters by wire."""
    before, at, after = cell.partition("@")
    if not (before and at and after) or " " in cell or len(cell) > 120:
        raise CellError("an e-mail address")
    return cell


def timezone(cell: str) -> str:
    """A time zone of the IANA list."""
    if cell not in _timezones():
        raise CellError("an IANA time zone such as America/Denver")
    return cell


def day_modes(cell: str) -> str:
    """Kinds of day pattern that a controller offers, in the order of the house."""
    modes = {mode.strip().lower() for mode in cell.replace(";", ",").split(",") if mode.strip()}
    if not modes or not modes <= set(DAY_MODES):
        raise CellError("some of " + ", ".join(DAY_MODES))
    return ",".join(mode for mode in DAY_MODES if mode in modes)


def tension_steps(cell: str) -> str:
    """Settings that a unit offers, wettest first."""
    try:
        steps = [float(part) for part in cell.split(";") if part.strip()]
    except ValueError:
        steps = []
    in_order = all(wetter < drier for wetter, drier in pairwise(steps))
    if not steps or len(steps) > 40 or not in_order or not (steps[0] > 0 and steps[-1] <= 250):
        raise CellError("tensions up to 250 kPa parted by ; from the wettest (lowest) on, as 20;28;40")
    return ";".join(f"{step:g}" for step in steps)


@lru_cache(maxsize=1)
def _timezones() -> frozenset[str]:
    return frozenset(available_timezones())


_SITE: Final = Column("site", code, required=True)
_CONTROLLER: Final = Column("controller", code, required=True)
_STATION: Final = Column("station", whole(1, 200), required=True)
_SOIL: Final = Column("soil", choice(Soil.values), default="")
_SLOPE: Final = Column("slope_pct", number(0, 100))


def _fixture(name: str) -> Kind:
    """A thing of the water supply, known by its place."""
    return Kind(name, ("site",), POINT, True, (_SITE, Column("note", text(200), default="")))


KINDS: Final[dict[str, Kind]] = {
    kind.name: kind
    for kind in (
        Kind(
            "site",
            ("site",),
            POINT | GROUND,
            False,
            (
                _SITE,
                Column("name", text(120), required=True),
                Column("address", text(200), default=""),
                Column("customer", text(120), default=""),
                Column("phone", text(40), default=""),
                Column("email", email, default=""),
                Column("access_notes", text(2_000), default="", aliases=("accessnote",)),
                Column("gate_code", text(40), default=""),
                Column("timezone", timezone, default=""),
                _SOIL,
                _SLOPE,
                Column("rule_set", text(60), default=""),
                Column("supplier", text(60), default=""),
                Column("visit_from", clock),
                Column("visit_to", clock),
            ),
        ),
        Kind(
            "controller",
            ("site", "controller"),
            POINT,
            False,
            (
                _SITE,
                _CONTROLLER,
                Column("station_count", whole(1, 200), required=True, aliases=("stn_count",)),
                Column("program_count", whole(1, 8), default=3, aliases=("prog_count",)),
                Column("starts_per_program", whole(1, 24), default=4, aliases=("starts_prg",)),
                Column("max_run_min", whole(1, 1440), default=240, aliases=("maxrun_min",)),
                Column("minute_step", whole(1, 60), default=1, aliases=("min_step",)),
                Column("day_modes", day_modes, default=",".join(DAY_MODES)),
                Column(
                    "station_order",
                    choice(StationOrder.values),
                    default=StationOrder.NUMERIC.value,
                    aliases=("stn_order",),
                ),
                Column("stations_at_once", whole(1, 4), default=1, aliases=("at_once",)),
                Column("flow_limit_l_min", number(0.1, 10_000), aliases=("flow_limit",)),
                Column("governed", truth, default=False),
                Column("gating", choice(Gating.values), default=Gating.ANY_TIME.value),
            ),
        ),
        Kind(
            "zone",
            ("site", "controller", "station"),
            GROUND,
            False,
            (
                _SITE,
                _CONTROLLER,
                _STATION,
                Column("name", text(120), default=""),
                Column("plant", choice(Plant.values), required=True),
                Column("head", choice(Head.values), required=True),
                Column("area_m2", number(0.1, 1e6)),
                Column("precipitation_rate_mm_h", number(0.1, 1_000), aliases=("pr_mm_h",)),
                Column("flow_l_min", number(0.01, 10_000)),
                Column("distribution_uniformity", number(0.05, 1), aliases=("du",)),
                _SOIL,
                _SLOPE,
                Column("root_depth_mm", number(20, 5_000), aliases=("rootdep_mm",)),
                Column("sun", choice(Sun.values), default=Sun.FULL.value),
                Column("landscape_coefficient", number(0.01, 2), aliases=("kl",)),
                Column("planted_on", day),
            ),
        ),
        Kind(
            "sensor",
            ("site", "controller"),
            POINT,
            False,
            (
                _SITE,
                _CONTROLLER,
                _STATION,
                Column("depth_mm", number(10, 2_000)),
                Column("threshold_kpa", number(0.1, 250), aliases=("thresh_kpa",)),
                Column("threshold_steps_kpa", tension_steps, default="", aliases=("steps_kpa",)),
                Column("installed_on", day, aliases=("install_on",)),
            ),
        ),
        Kind(
            "valve_box",
            ("site", "name"),
            POINT,
            True,
            (
                _SITE,
                Column("name", text(60), required=True),
                Column("spare_wires", whole(0, 500), aliases=("sparewires",)),
            ),
        ),
        Kind(
            "wire",
            ("site",),
            LINE,
            True,
            (_SITE, Column("conductors", whole(1, 500)), Column("spare", whole(0, 500))),
        ),
        Kind(
            "structure",
            ("site",),
            GROUND | LINE,
            True,
            (_SITE, Column("type", choice(StructureType.values), required=True)),
        ),
        Kind("sprinkler", ("site", "controller", "station"), POINT, True, (_SITE, _CONTROLLER, _STATION)),
        _fixture("water_meter"),
        _fixture("shutoff"),
        _fixture("backflow_preventer"),
    )
}

ALIASES: Final[dict[str, str]] = {
    alias: column.name for kind in KINDS.values() for column in kind.columns for alias in column.aliases
}
"""Ten-letter names of shapefile columns, and the columns that they stand for."""

PLACE_COLUMNS: Final = ("longitude", "latitude")
"""Columns of a table without shapes that give each row a point."""


def kind_named(name: str) -> str:
    """The kind that a layer or folder is named after, as `site`, `Zones`, `valve boxes`; empty where none."""
    plain = "_".join(name.lower().replace("-", " ").replace("_", " ").split())
    return next(
        (word for word in (plain, plain.removesuffix("s"), plain.removesuffix("es")) if word in KINDS), ""
    )
