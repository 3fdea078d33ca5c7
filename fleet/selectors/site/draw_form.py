"""The forms beside the drawing: fields of each kind with label and unit, and what is assumed."""

from __future__ import annotations

from django.db.models import Choices

from fleet.quantities import KINDS as QUANTITIES
from fleet.quantities import shown
from sites.calc import landscape
from sites.models import RuleSet
from sites.models.choices import Gating, Head, Plant, Soil, StationOrder, StructureType, Sun

Field = dict[str, object]


def draw_forms(*, is_us: bool) -> dict[str, list[Field]]:
    """Fields by kind, in the order of the form.

    Parameters
    ----------
    is_us
        Whether the reader wants US customary units; the page converts by `factor`.
    """
    return {
        "site": _site_fields(),
        "controller": _controller_fields(is_us),
        "zone": _zone_fields(is_us),
        "sensor": _sensor_fields(is_us),
        "valve_box": [
            _field("name", "Name", required=True),
            _field("spare_wires", "Spare wires", "whole", hint="Empty: not known."),
        ],
        "wire": [_field("conductors", "Conductors", "whole"), _field("spare", "Of these spare", "whole")],
        "structure": [_choice("type", "What it is", StructureType, required=True)],
        "sprinkler": [_field("zone", "Zone", "zone", required=True)],
        "water_meter": [_field("note", "Note")],
        "shutoff": [_field("note", "Note")],
        "backflow_preventer": [_field("note", "Note")],
    }


def assumed_values() -> dict[str, dict[str, dict[str, float]]]:
    """What stands in for an empty field, by the field and value that it follows from, in SI."""
    heads = {
        "precipitation_rate_mm_h": landscape.precipitation_rate_mm_h,
        "distribution_uniformity": landscape.distribution_uniformity,
    }
    by_head = {
        name: {head: float(rate(at)) for at, head in enumerate(landscape.HEADS)}
        for name, rate in heads.items()
    }
    roots = {plant: float(landscape.root_depth_mm(at)) for at, plant in enumerate(landscape.PLANTS)}
    return {"head": by_head, "plant": {"root_depth_mm": roots}}


def page_units(*, is_us: bool) -> dict[str, Field]:
    """Units of areas and lengths on the page: word, factor from SI, decimals."""
    return {kind: _unit(kind, is_us) for kind in ("area", "length")}


def _site_fields() -> list[Field]:
    """Facts of the site."""
    rules = [["", "none known"], *([code, code] for code in RuleSet.objects.values_list("code", flat=True))]
    return [
        _field("name", "Name", required=True),
        _field("address", "Address"),
        _field("customer", "Customer"),
        _field("phone", "Phone", "tel"),
        _field("email", "Mail", "email"),
        _field("access_notes", "Access", "long"),
        _field("gate_code", "Gate code"),
        _field("visit_from", "Visits from", "clock"),
        _field("visit_to", "Visits until", "clock"),
        _choice("soil", "Soil", Soil, empty="not known: loam is assumed"),
        _field("slope_pct", "Slope", "number", unit="%", hint="Empty: 0 % is assumed."),
        {"name": "rule_set", "label": "Watering rules", "type": "choice", "options": rules, "open": True},
        _field("supplier", "Water supplier"),
        _field("timezone", "Time zone", required=True, hint="As America/Denver."),
    ]


def _controller_fields(is_us: bool) -> list[Field]:
    """What a timer can do."""
    return [
        _field("controller", "Code", required=True, fixed=True),
        _field("station_count", "Stations", "whole", required=True),
        _field("program_count", "Programs", "whole"),
        _field("starts_per_program", "Starts of a program", "whole"),
        _field("max_run_min", "Longest run", "whole", unit="min"),
        _field("minute_step", "Step of minutes", "whole", unit="min"),
        _field("day_modes", "Day patterns", hint="Some of weekdays, interval, odd, even."),
        _choice("station_order", "Runs stations", StationOrder),
        _field("stations_at_once", "Stations at once", "whole", hint="2: it runs two programs at a time."),
        _quantity(
            "flow_limit_l_min",
            "Flow of the supply",
            "flow",
            is_us,
            hint="Measured at the meter. Empty: one station at a time.",
        ),
        _field("governed", "A sensor can block it", "truth"),
        _choice("gating", "The sensor", Gating),
    ]


def _zone_fields(is_us: bool) -> list[Field]:
    """What a zone is."""
    return [
        _field("name", "Name"),
        _field("controller", "Controller", "controller", required=True),
        _field("station", "Station", "whole", required=True),
        _choice("plant", "Plant", Plant, required=True),
        _choice("head", "Head", Head, required=True),
        _quantity("precipitation_rate_mm_h", "PR", "rate", is_us, hint="Precipitation rate."),
        _field("distribution_uniformity", "DU", "number", hint="Low quarter, 0 to 1."),
        _quantity("flow_l_min", "Flow", "flow", is_us, hint="With the area it gives the PR."),
        _choice("soil", "Soil", Soil, empty="as the site"),
        _field("slope_pct", "Slope", "number", unit="%", hint="Empty: as the site."),
        _quantity("root_depth_mm", "Root depth", "depth_whole", is_us),
        _choice("sun", "Sun", Sun, required=True),
        _field("landscape_coefficient", "KL", "number", hint="Empty: from plant, sun and climate."),
        _field("planted_on", "Planted on", "day"),
        _quantity("area_m2", "Area", "area", is_us, hint="Only where no shape is drawn."),
    ]


def _sensor_fields(is_us: bool) -> list[Field]:
    """What a sensor is, and how it is set."""
    return [
        _field("controller", "Controller", "controller", required=True),
        _field("station", "Governing station", "whole", required=True),
        _quantity("depth_mm", "Depth", "depth_whole", is_us),
        _field("threshold_kpa", "Threshold", "number", unit="kPa"),
        _field("threshold_steps_kpa", "Settings of the unit", hint="kPa, wettest first, as 20;28;40."),
        _field("installed_on", "Installed on", "day"),
    ]


def _field(
    name: str,
    label: str,
    kind: str = "text",
    *,
    unit: str = "",
    hint: str = "",
    required: bool = False,
    fixed: bool = False,
) -> Field:
    """One field; `fixed`: only a new thing may be given one."""
    return {
        "name": name,
        "label": label,
        "type": kind,
        "unit": unit,
        "hint": hint,
        "required": required,
        "fixed": fixed,
    }


def _choice(name: str, label: str, words: type[Choices], *, required: bool = False, empty: str = "") -> Field:
    """A field with a closed list."""
    options = [[value, text] for value, text in words.choices]
    field = _field(name, label, "choice", required=required)
    return field | {"options": [["", empty], *options] if empty else options}


def _quantity(name: str, label: str, kind: str, is_us: bool, hint: str = "") -> Field:
    """A number with a unit of the reader's own."""
    return _field(name, label, "number", hint=hint) | _unit(kind, is_us)


def _unit(kind: str, is_us: bool) -> Field:
    """Word, factor from SI and decimals of a kind of quantity."""
    quantity = QUANTITIES[kind]
    digits = quantity.us_digits if is_us else quantity.digits
    return {
        "unit": quantity.us_unit if is_us else quantity.unit,
        "factor": shown(1.0, kind, is_us=is_us),
        "digits": max(digits, 1) if kind in {"rate", "length"} else digits,
    }
