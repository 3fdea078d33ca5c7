"""The survey of a site as a list of steps: what the book knows, what it assumes, what it lacks."""

from __future__ import annotations

from datetime import date, time
from typing import Any

from sites.calc import landscape, soil
from sites.calc.audit.survey_parts import Item, State, Step, Survey, Thing
from sites.calc.zone_table import ZoneTable
from sites.models import Controller, Fixture, ProgramSet, Sensor, Site, ValveBox, Zone
from sites.models.choices import FixtureKind, Gating, Head, Plant, Soil, StationOrder, Sun
from sites.selectors.zones import zone_table


def survey_of(*, site: Site, with_gate_code: bool = True) -> Survey:
    """What is known, assumed and missing of a site, in the order of a walk through the garden.

    Parameters
    ----------
    site
        The garden.
    with_gate_code
        False: the reader may not read it today.
    """
    controllers = list(Controller.objects.filter(site=site).select_related("sensor").order_by("code"))
    zones = list(
        Zone.objects.filter(controller__site=site)
        .select_related("controller__site")
        .order_by("controller__code", "station")
    )
    table = zone_table(site_ids=[site.pk])
    programmed = set(ProgramSet.objects.filter(controller__site=site).values_list("controller_id", flat=True))
    unprogrammed = tuple(
        f"what is set on controller {row.code}: read it off"
        for row in controllers
        if row.pk not in programmed
    )
    return Survey(
        (
            Step("way", "Getting in", (_way_in(site, with_gate_code=with_gate_code),)),
            Step("ground", "Soil and rules", (_ground(site, zones),)),
            Step(
                "timer",
                "Timer",
                tuple(_controller(row) for row in controllers),
                (() if controllers else ("a controller",)) + unprogrammed,
            ),
            Step(
                "zones",
                "Zones",
                tuple(_zone(zone, table) for zone in zones),
                () if zones else ("the zones",),
            ),
            Step("sensor", "Sensor", tuple(_sensor(row) for row in controllers if hasattr(row, "sensor"))),
            _supply(site),
        )
    )


def _item(column: str, label: str, value: Any, **other: Any) -> Item:
    """A question that should have an answer."""
    state = State.MISSING if value in (None, "") else State.KNOWN
    if state == State.MISSING and other.get("assumed") not in (None, ""):
        state = State.ASSUMED
    return Item(column, label, value, state, **other)


def _extra(column: str, label: str, value: Any, **other: Any) -> Item:
    """A question that may stay open."""
    return Item(column, label, value, State.OPTIONAL if value in (None, "") else State.KNOWN, **other)


def _words(choices: Any) -> tuple[tuple[str, str], ...]:
    """Choices as value and word."""
    return tuple((str(value), str(word)) for value, word in choices)


def _way_in(site: Site, *, with_gate_code: bool) -> Thing:
    """The customer and the way in."""
    gate = (_extra("gate_code", "Gate code", site.gate_code),) if with_gate_code else ()
    return Thing(
        "site",
        "",
        "Customer and way in",
        (
            _item("customer", "Customer", site.customer),
            _item("phone", "Phone", site.phone),
            _extra("email", "Mail", site.email),
            _item("address", "Address", site.address),
            _item(
                "access_notes", "How to get in, dogs, where the timer hangs", site.access_notes, shape="long"
            ),
            *gate,
            _extra("visit_from", "Usual hours from", _clock(site.visit_from), shape="clock"),
            _extra("visit_to", "Usual hours to", _clock(site.visit_to), shape="clock"),
        ),
        has_place=site.longitude is not None,
    )


def _ground(site: Site, zones: list[Zone]) -> Thing:
    """Soil, slope, supplier, rules."""
    by_zone = bool(zones) and all(zone.soil for zone in zones)
    texture = _item if not by_zone else _extra
    return Thing(
        "site",
        "",
        "The whole garden",
        (
            texture(
                "soil",
                "Soil (feel it: a ribbon between thumb and finger)",
                site.soil,
                shape="choice",
                choices=_words(Soil.choices),
                assumed="" if by_zone else soil.DEFAULT_TEXTURE.replace("_", " "),
            ),
            _item("slope_pct", "Slope", site.slope_pct, shape="number", unit="%", assumed="0 %"),
            _item("supplier", "Water supplier", site.supplier),
            _item("rule_set", "Watering rules that count here (their code)", site.rule_set),
        ),
    )


def _controller(row: Controller) -> Thing:
    """One timer; its defaults are marked as assumed until somebody looks."""
    assumed = set(row.assumed.split())

    def ask(column: str, label: str, **other: Any) -> Item:
        state = State.ASSUMED if column in assumed else State.KNOWN
        return Item(column, label, getattr(row, column), state, **other)

    return Thing(
        "controller",
        row.code,
        f"Controller {row.code}",
        (
            ask("station_count", "Stations", shape="whole"),
            ask("program_count", "Programs (A, B, C …)", shape="whole"),
            ask("starts_per_program", "Start times in a program", shape="whole"),
            ask("max_run_min", "Longest run it takes", shape="whole", unit="min"),
            ask("minute_step", "Step of run minutes", shape="whole", unit="min"),
            ask("day_modes", "Kinds of day pattern: weekdays, interval, odd, even"),
            ask("station_order", "Order of stations", shape="choice", choices=_words(StationOrder.choices)),
            ask(
                "stations_at_once",
                "Stations at once (2: two programs at a time)",
                shape="whole",
            ),
            _extra(
                "flow_limit_l_min",
                "Flow that its supply gives, measured at the meter; empty: one station at a time",
                row.flow_limit_l_min,
                shape="number",
                quantity="flow",
            ),
            ask("gating", "A sensor that blocks", shape="choice", choices=_words(Gating.choices)),
        ),
        has_place=row.geometry is not None,
        pk=row.pk,
    )


def _zone(zone: Zone, table: ZoneTable) -> Thing:
    """One zone; rate and uniformity have their own page."""
    at = int(table.positions_of([zone.pk])[0])
    is_drawn = zone.geometry is not None
    depth = float(landscape.root_depth_mm(landscape.PLANTS.index(zone.plant)))
    items = [
        _extra("name", "Name", zone.name),
        _item("plant", "Plants", zone.plant, shape="choice", choices=_words(Plant.choices)),
        _item("head", "Heads", zone.head, shape="choice", choices=_words(Head.choices)),
        _item("sun", "Sun", zone.sun, shape="choice", choices=_words(Sun.choices)),
        _item(
            "root_depth_mm",
            "Depth of roots, by probe",
            zone.root_depth_mm,
            shape="number",
            quantity="depth_whole",
            assumed=depth,
        ),
        _extra("soil", "Soil, where it is another", zone.soil, shape="choice", choices=_words(Soil.choices)),
        _extra("slope_pct", "Slope, where it is another", zone.slope_pct, shape="number", unit="%"),
        _extra("planted_on", "Planted on, if new", _day(zone.planted_on), shape="day"),
    ]
    if not is_drawn:
        items.insert(3, _item("area_m2", "Area", zone.area_m2, shape="number", quantity="area"))
    measured = (
        ("precipitation_rate_mm_h", "Precipitation rate", table.precipitation_rate_assumed[at], "rate"),
        ("distribution_uniformity", "Uniformity", table.distribution_uniformity_assumed[at], ""),
    )
    for column, label, is_assumed, quantity in measured:
        items.append(
            Item(
                column,
                label,
                float(getattr(table, column)[at]),
                State.ASSUMED if is_assumed else State.KNOWN,
                shape="audit",
                quantity=quantity,
            )
        )
    code = zone.controller.code
    return Thing(
        "zone", f"{code}/{zone.station}", f"{zone.station} {zone.name}".strip(), tuple(items), pk=zone.pk
    )


def _sensor(row: Controller) -> Thing:
    """The sensor of a timer."""
    sensor: Sensor = row.sensor
    zones = Zone.objects.filter(controller=row).order_by("station").values_list("station", "name")
    return Thing(
        "sensor",
        row.code,
        f"Sensor of controller {row.code}",
        (
            Item(
                "station",
                "Stands in the zone of station",
                sensor.station,
                State.KNOWN,
                shape="choice",
                choices=tuple((str(number), f"{number} {name}".strip()) for number, name in zones),
            ),
            _item("depth_mm", "Depth of its middle", sensor.depth_mm, shape="number", quantity="depth_whole"),
            _item(
                "threshold_steps_kpa",
                "Settings that the unit offers, wettest first, parted by ;",
                sensor.threshold_steps_kpa,
                unit="kPa",
            ),
            _item("threshold_kpa", "Threshold as set", sensor.threshold_kpa, shape="number", unit="kPa"),
            _item("installed_on", "Installed on", _day(sensor.installed_on), shape="day"),
        ),
        has_place=sensor.geometry is not None,
        pk=sensor.pk,
    )


def _supply(site: Site) -> Step:
    """Meter, shutoff, backflow preventer and valve boxes."""
    fixtures = list(Fixture.objects.filter(site=site))
    boxes = list(ValveBox.objects.filter(site=site))
    there = {row.kind for row in fixtures}
    things = [
        Thing(row.kind, "", str(row.get_kind_display()).capitalize(), (), has_place=True, pk=row.pk)
        for row in fixtures
    ]
    things += [
        Thing(
            "valve_box",
            row.name,
            f"Valve box {row.name}",
            (_item("spare_wires", "Unused conductors in it", row.spare_wires, shape="whole"),),
            has_place=row.geometry is not None,
            pk=row.pk,
        )
        for row in boxes
    ]
    lacks = tuple(f"the {word}" for kind, word in FixtureKind.choices if kind not in there)
    return Step("supply", "Water and boxes", tuple(things), lacks + (() if boxes else ("a valve box",)))


def _day(value: date | None) -> str:
    """A day as a form holds it."""
    return value.isoformat() if value else ""


def _clock(value: time | None) -> str:
    """A time of day as a form holds it."""
    return f"{value:%H:%M}" if value else ""
