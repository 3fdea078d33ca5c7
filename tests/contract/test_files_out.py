"""What files out hold: columns in their order, kinds, formats and words that users' scripts rest on."""

from __future__ import annotations

import pytest

from fleet.exports.kinds import FORMATS, KINDS
from fleet.models import Cause, WatchStatus
from sites.importing.book.kinds import KINDS as BOOK_KINDS
from sites.models.choices import ProgramStatus

COLUMNS = {
    "programs": "week as_of site controller program days starts station run_order run_min"
    " seasonal_adjust_pct cycles_per_event threshold_kpa_now threshold_kpa status week_depth_mm"
    " week_volume_l week_need_mm adequacy_pct lost_pct runoff_limit_min is_change reasons",
    "flags": "as_of site controller status cause probability cause_probability since raised_on"
    " observed_rate expected_rate starts litres_at_stake_per_week evidence",
    "routes": "date technician order site visit_kinds arrive depart window_from window_to drive_min"
    " drive_km service_min value reason",
    "ledger": "period_start period_end site used_l used_source need_l need_good_du_l baseline_l saved_l"
    " saved_low_l saved_high_l ratio reasons",
    "weather": "location latitude longitude elevation_m date tmin_c tmax_c tdew_c rh_min_pct rh_max_pct"
    " wind_m_s wind_height_m solar_mj_m2 rain_mm kind issued eto_mm eto_method filled flags source",
    "balance": "date site controller station eto_mm etl_mm rain_mm effective_rain_mm irrigation_net_mm"
    " irrigation_source depletion_mm depletion_sd_mm allowed_mm stress",
}
WITHOUT_UNIT = frozenset(
    # text, days and codes; counts, shares and order; degrees of the map; money
    [
        "week",
        "as_of",
        "date",
        "issued",
        "since",
        "raised_on",
        "period_start",
        "period_end",
        "arrive",
        "depart",
        "window_from",
        "window_to",
        "site",
        "controller",
        "technician",
        "location",
        "program",
        "days",
        "starts",
        "kind",
        "visit_kinds",
        "status",
        "cause",
        "evidence",
        "reason",
        "reasons",
        "is_change",
        "used_source",
        "irrigation_source",
        "eto_method",
        "filled",
        "flags",
        "source",
        "station",
        "run_order",
        "order",
        "cycles_per_event",
        "probability",
        "cause_probability",
        "observed_rate",
        "expected_rate",
        "ratio",
        "stress",
        "latitude",
        "longitude",
        "solar_mj_m2",
        "value",
    ]
)
PRIVATE = {"customer", "phone", "email", "access_notes", "gate_code"}


def test_every_kind_is_there() -> None:
    kinds = "programs flags needs routes visits findings contracts ledger weather balance book history"

    assert set(KINDS) == set(kinds.split())
    assert FORMATS == ("csv", "json", "geojson", "gpkg", "ics")


@pytest.mark.parametrize("kind", COLUMNS)
def test_an_export_keeps_its_columns_in_their_order(kind: str) -> None:
    assert list(KINDS[kind].columns(False)) == COLUMNS[kind].split()


def test_every_number_of_an_export_carries_its_unit() -> None:
    units = ("_mm", "_l", "_kpa", "_kpa_now", "_pct", "_min", "_km", "_c", "_m", "_m_s", "_m2", "_per_week")

    for kind in COLUMNS:
        for name in KINDS[kind].columns(False):
            assert name.endswith(units) or name in WITHOUT_UNIT, f"{kind}: {name}"


def test_the_book_hides_what_is_private_unless_asked() -> None:
    told = [column.name for column in BOOK_KINDS["site"].columns]

    assert list(KINDS["book"].columns(True)) == told
    assert list(KINDS["book"].columns(False)) == [name for name in told if name not in PRIVATE]


def test_the_watch_keeps_its_states_and_causes() -> None:
    states = "healthy watch flag too_little_data cannot_tell commissioning off_season no_log resting"
    causes = "stuck_wet stuck_dry reads_wet reads_dry erratic program_differs overridden no_power"

    assert set(WatchStatus.values) == set(states.split())
    assert {cause for cause in Cause.values if cause} == set(causes.split())


def test_a_program_keeps_its_states() -> None:
    assert set(ProgramStatus.values) == {"recommended", "accepted", "held", "keyed_in"}
