"""The closed lists of the site book, spelled as in its files."""

from __future__ import annotations

from django.db import models


class Plant(models.TextChoices):
    """Planting of a zone."""

    COOL_TURF = "cool_turf", "cool-season turf"
    WARM_TURF = "warm_turf", "warm-season turf"
    ANNUALS = "annuals", "annual flowers"
    SHRUBS = "shrubs", "shrubs"
    GROUNDCOVER = "groundcover", "groundcover"
    TREES = "trees", "trees"
    DESERT = "desert", "desert plants"
    MIXED = "mixed", "mixed planting"


class Head(models.TextChoices):
    """Class of emission device."""

    FIXED_SPRAY = "fixed_spray", "fixed spray"
    ROTOR = "rotor", "rotor"
    ROTARY_NOZZLE = "rotary_nozzle", "rotary nozzle"
    DRIPLINE = "dripline", "dripline"
    BUBBLER = "bubbler", "bubbler"


class RainFrom(models.TextChoices):
    """Whose rain a site takes."""

    NEAREST = "", "the nearest gauge, its own first"
    LOCATION = "location", "its location, by the order of sources there"
    OWN = "own", "its own gauge"
    STATION = "station", "a chosen station"


class Soil(models.TextChoices):
    """USDA texture classes."""

    SAND = "sand", "sand"
    LOAMY_SAND = "loamy_sand", "loamy sand"
    SANDY_LOAM = "sandy_loam", "sandy loam"
    LOAM = "loam", "loam"
    SILT_LOAM = "silt_loam", "silt loam"
    SILT = "silt", "silt"
    SANDY_CLAY_LOAM = "sandy_clay_loam", "sandy clay loam"
    CLAY_LOAM = "clay_loam", "clay loam"
    SILTY_CLAY_LOAM = "silty_clay_loam", "silty clay loam"
    SANDY_CLAY = "sandy_clay", "sandy clay"
    SILTY_CLAY = "silty_clay", "silty clay"
    CLAY = "clay", "clay"


class Sun(models.TextChoices):
    """How much sun a zone gets."""

    FULL = "full", "full sun"
    PART = "part", "part shade"
    SHADE = "shade", "shade"


class StationOrder(models.TextChoices):
    """Whether a timer can run its stations in a free order."""

    NUMERIC = "numeric", "by station number"
    FREE = "free", "free order"


class Gating(models.TextChoices):
    """How a sensor acts on a run."""

    ANY_TIME = "any_time", "can stop a run midway"
    AT_START = "at_start", "only at a start"


class StructureType(models.TextChoices):
    """What stands in a garden."""

    BUILDING = "building", "building"
    PAVING = "paving", "paving"
    WALL = "wall", "wall"
    POOL = "pool", "pool"
    TREE = "tree", "tree"


class FixtureKind(models.TextChoices):
    """Water fixtures of a site."""

    WATER_METER = "water_meter", "water meter"
    SHUTOFF = "shutoff", "shutoff"
    BACKFLOW_PREVENTER = "backflow_preventer", "backflow preventer"


class LogMethod(models.TextChoices):
    """Where a bypass log came from."""

    LOGGER = "logger", "logger"
    COUNTER_READ = "counter_read", "counter read at a visit"
    CUSTOMER_CARD = "customer_card", "customer's card"
    FROM_METER = "from_meter", "counted from meter reads"


class ProgramStatus(models.TextChoices):
    """Where a recommended program stands."""

    RECOMMENDED = "recommended", "recommended"
    ACCEPTED = "accepted", "accepted"
    HELD = "held", "held"
    KEYED_IN = "keyed_in", "keyed in"


class MeterKind(models.TextChoices):
    """What a meter counts."""

    IRRIGATION = "irrigation", "irrigation meter"
    WHOLE_HOUSE = "whole_house", "whole-house meter"
