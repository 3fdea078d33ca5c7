"""What files in may hold: users' scripts rest on these columns, words and defaults.

Every list is written out, since it is a promise: the code may grow, but a name, a default or a required
column that changes here breaks somebody's export.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import pytest

from fleet.importing import contracts, tariffs, technicians, visits
from sites.calc.rules.file import FIELDS
from sites.importing import bypass, meters, programs
from sites.importing.book.kinds import DAY_MODES, KINDS
from sites.models.choices import (
    Gating,
    Head,
    LogMethod,
    MeterKind,
    Plant,
    Soil,
    StationOrder,
    StructureType,
    Sun,
)
from sites.models.meter import MeterReading
from weather.importing import weather_file
from weather.importing.rows import CellError, Column

# name of the file or kind: (columns, "*" marks a required one; defaults that are not empty)
FILES: dict[str, tuple[Iterable[Column], str, dict[str, object]]] = {
    "weather": (
        weather_file.COLUMNS,
        (
            "location* latitude* longitude* elevation_m* date* tmin_c* tmax_c* tdew_c rh_min_pct"
            " rh_max_pct wind_m_s wind_height_m solar_mj_m2 rain_mm kind issued"
        ),
        {"wind_height_m": 2.0, "kind": "observed"},
    ),
    "bypass": (
        bypass.COLUMNS,
        (
            "site* controller* date start end starts_bypassed* starts_scheduled starts_cut_short"
            " starts_skipped method note"
        ),
        {"starts_cut_short": 0, "starts_skipped": 0, "method": "logger"},
    ),
    "meter": (
        meters.VOLUME_COLUMNS,
        "site* start* end* volume* unit* meter read_kind",
        {"meter": "irrigation", "read_kind": "actual"},
    ),
    "readings": (
        meters.READING_COLUMNS,
        "site* meter_id* read_at* reading* unit* digits read_kind event meter",
        {"read_kind": "actual", "meter": "irrigation"},
    ),
    "programs": (
        programs.COLUMNS,
        "site* controller* program* days* starts* station* run_min* seasonal_adjust_pct as_of*",
        {"seasonal_adjust_pct": 100.0},
    ),
    "technicians": (
        technicians.COLUMNS,
        (
            "technician* name* start_latitude* start_longitude* end_latitude end_longitude shift_start*"
            " shift_end* workdays* days_off skills break_min login"
        ),
        {"break_min": 30},
    ),
    "visits": (
        visits.COLUMNS,
        "site* kind* service_min earliest latest skill value_per_day priority note",
        {},
    ),
    "contracts": (
        contracts.COLUMNS,
        (
            "site* first_day* last_day* price_per_year* currency notice_days visits_any_kind visits_start_up"
            " visits_sensor_check visits_audit visits_backflow_test visits_winterize visits_program_change"
            " visits_repair visits_complaint used_any_kind used_start_up used_sensor_check used_audit"
            " used_backflow_test used_winterize used_program_change used_repair used_complaint ended_why"
        ),
        {"notice_days": 30},
    ),
    "tariffs": (
        tariffs.COLUMNS,
        "supplier* from* tier_from_m3 price_per_m3* currency*",
        {"tier_from_m3": 0.0},
    ),
}
BOOK: dict[str, tuple[str, dict[str, object]]] = {
    "site": (
        (
            "site* name* address customer phone email access_notes gate_code timezone soil slope_pct"
            " rule_set supplier visit_from visit_to"
        ),
        {},
    ),
    "controller": (
        (
            "site* controller* station_count* program_count starts_per_program max_run_min minute_step"
            " day_modes station_order stations_at_once flow_limit_l_min governed gating"
        ),
        {
            "program_count": 3,
            "starts_per_program": 4,
            "max_run_min": 240,
            "minute_step": 1,
            "day_modes": "weekdays,interval,odd,even",
            "station_order": "numeric",
            "stations_at_once": 1,
            "governed": False,
            "gating": "any_time",
        },
    ),
    "zone": (
        (
            "site* controller* station* name plant* head* area_m2 precipitation_rate_mm_h flow_l_min"
            " distribution_uniformity soil slope_pct root_depth_mm sun landscape_coefficient planted_on"
        ),
        {"sun": "full"},
    ),
    "sensor": ("site* controller* station* depth_mm threshold_kpa threshold_steps_kpa installed_on", {}),
    "valve_box": ("site* name* spare_wires", {}),
    "wire": ("site* conductors spare", {}),
    "structure": ("site* type*", {}),
    "sprinkler": ("site* controller* station*", {}),
    "water_meter": ("site* note", {}),
    "shutoff": ("site* note", {}),
    "backflow_preventer": ("site* note", {}),
}
SHAPES = {
    "site": {"Point", "Polygon", "MultiPolygon"},
    "controller": {"Point"},
    "zone": {"Polygon", "MultiPolygon"},
    "sensor": {"Point"},
    "valve_box": {"Point"},
    "wire": {"LineString", "MultiLineString"},
    "structure": {"Polygon", "MultiPolygon", "LineString", "MultiLineString"},
    "sprinkler": {"Point"},
    "water_meter": {"Point"},
    "shutoff": {"Point"},
    "backflow_preventer": {"Point"},
}
ALL_COLUMNS = {
    **{f"{name} file": entry for name, entry in FILES.items()},
    **{f"{kind} of the book": (KINDS[kind].columns, *entry) for kind, entry in BOOK.items()},
}
WORDS: dict[str, tuple[Iterable[str], str]] = {
    "plant": (Plant.values, "cool_turf warm_turf annuals shrubs groundcover trees desert mixed"),
    "head": (Head.values, "fixed_spray rotor rotary_nozzle dripline bubbler"),
    "soil": (
        Soil.values,
        (
            "sand loamy_sand sandy_loam loam silt_loam silt sandy_clay_loam clay_loam silty_clay_loam"
            " sandy_clay silty_clay clay"
        ),
    ),
    "sun": (Sun.values, "full part shade"),
    "station_order": (StationOrder.values, "numeric free"),
    "gating": (Gating.values, "any_time at_start"),
    "structure type": (StructureType.values, "building paving wall pool tree"),
    "day_modes": (DAY_MODES, "weekdays interval odd even"),
    "log method": (LogMethod.values, "logger counter_read customer_card from_meter"),
    "meter": (MeterKind.values, "irrigation whole_house"),
    "volume unit": (meters.UNITS, "l m3 gal kgal ccf"),
    "read_kind": (MeterReading.ReadKind.values, "actual estimated"),
    "event": ([event for event in MeterReading.Event.values if event], "swap reset"),
    "visit kind": (
        visits.KINDS,
        (
            "start_up audit sensor_check sensor_install program_change repair move_station_wire dig"
            " backflow_test winterize complaint survey"
        ),
    ),
    "field of a watering stage": (
        FIELDS,
        (
            "name from until address_rule weekdays dates bar_31st windows window_day max_days_per_week"
            " max_minutes_per_station applies_to exempt_days_after_planting source checked_on"
        ),
    ),
}


@pytest.mark.parametrize("name", ALL_COLUMNS)
def test_a_file_keeps_its_columns_and_their_defaults(name: str) -> None:
    columns, promised, defaults = ALL_COLUMNS[name]
    found = {column.name: column for column in columns}

    for word in promised.split():
        column = found[word.removesuffix("*")]
        assert column.required == word.endswith("*"), word
        assert (column.default or None) == (defaults.get(column.name) or None), word


def test_no_column_is_required_beyond_those_promised() -> None:
    for name, (columns, promised, _) in ALL_COLUMNS.items():
        required = {column.name for column in columns if column.required}

        assert required == {word[:-1] for word in promised.split() if word.endswith("*")}, name


def test_the_book_keeps_its_kinds_and_their_shapes() -> None:
    assert {kind: set(entry.shapes) for kind, entry in KINDS.items()} == SHAPES


@pytest.mark.parametrize("name", WORDS)
def test_a_closed_list_keeps_its_words(name: str) -> None:
    found, promised = WORDS[name]

    assert set(found) == set(promised.split())


def _parse(file: str, column: str, cell: str) -> object:
    """A cell through its column."""
    return next(one for one in ALL_COLUMNS[file][0] if one.name == column).parse(cell)


@pytest.mark.parametrize(
    ("file", "column", "cell", "value"),
    [
        ("controller of the book", "day_modes", "weekdays,odd", "weekdays,odd"),
        ("sensor of the book", "threshold_steps_kpa", "20;28;40", "20;28;40"),
        ("visits file", "priority", "5", 5),
        ("technicians file", "skills", "wiring;audit", "audit;wiring"),
        ("technicians file", "workdays", "mon,tue", "mon,tue"),
        ("weather file", "date", "2026-06-14", date(2026, 6, 14)),
    ],
)
def test_a_cell_is_read_as_promised(file: str, column: str, cell: str, value: object) -> None:
    assert _parse(file, column, cell) == value


@pytest.mark.parametrize(
    ("file", "column", "cell"),
    [
        ("controller of the book", "day_modes", "full_moon"),
        ("sensor of the book", "threshold_steps_kpa", "40;28;20"),
        ("visits file", "priority", "6"),
        ("visits file", "kind", "log_missing"),
        ("weather file", "date", "14.06.2026"),
        ("programs file", "program", "AB"),
        ("meter file", "unit", "acre_foot"),
    ],
)
def test_a_cell_outside_its_promise_is_refused(file: str, column: str, cell: str) -> None:
    with pytest.raises(CellError):
        _parse(file, column, cell)
