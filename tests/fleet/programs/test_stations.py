"""Issued programs under the measured weather of three stations: what they reach beside their rivals."""

from __future__ import annotations

from pathlib import Path

import pytest

from fleet.scoring.program_record import measured_seasons
from fleet.scoring.program_rows import FRONTIER, METHODS
from fleet.scoring.programs import RULES, score_programs
from tests.fleet.station_seasons import STATIONS, write_station

# Worlds that no setting was tuned on.
SEEDS = (101, 102)
FREE = next(iter(RULES))
ROWS = {
    name: method
    for name, method in {**METHODS, **FRONTIER}.items()
    if name in ("ours", "told the truth", "peak in ratio, cycle-soak", "peak in ratio + 30 %")
}
# Need met, zones with 95 % of it, fifth percentile zone [%]: what is planned, less what two worlds of 20
# gardens differ by.
LEAST = {"Maricopa": (96.5, 80.0, 70.0), "McLean": (98.5, 90.0, 90.0), "Gainesville": (98.5, 90.0, 90.0)}


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str], dict[str, float]]:
    folder: Path = tmp_path_factory.mktemp("stations")
    found = {}
    for station in STATIONS:
        path = folder / f"{station}.csv"
        write_station(station, path)
        climate = "arid" if station == "Maricopa" else "humid"
        for kind, _, _, method, figures in score_programs(
            seeds=SEEDS,
            climates=[climate],
            gardens=20,
            rules=[FREE],
            methods=ROWS,
            record=measured_seasons(path),
        ):
            if kind == "governed":
                found[station, method] = figures
    return found


@pytest.mark.parametrize("station", STATIONS)
def test_ours_reaches_what_is_planned(station: str, table: dict[tuple[str, str], dict[str, float]]) -> None:
    ours = table[station, "ours"]

    adequacy, zones, fifth = LEAST[station]
    assert ours["adequacy_pct"] >= adequacy
    assert ours["zones_95_pct"] >= zones
    assert ours["zone_p5_pct"] >= fifth
    assert ours["lost_pct"] <= 14
    assert ours["past_limit"] == 0
    # Two or three programs a year: the first is set anew once its sensor's log has spoken, few again after.
    assert ours["changes"] <= 1.25


@pytest.mark.parametrize("station", STATIONS)
def test_the_truth_would_be_better_still(
    station: str, table: dict[tuple[str, str], dict[str, float]]
) -> None:
    ours, truth = table[station, "ours"], table[station, "told the truth"]

    assert truth["adequacy_pct"] > ours["adequacy_pct"] - 0.3
    assert truth["lost_pct"] < ours["lost_pct"]


def test_in_the_desert_more_water_by_the_peak_program_does_not_do_as_well(
    table: dict[tuple[str, str], dict[str, float]],
) -> None:
    ours, more = table["Maricopa", "ours"], table["Maricopa", "peak in ratio + 30 %"]

    assert ours["gross_mm"] < 0.95 * more["gross_mm"]
    assert ours["adequacy_pct"] > more["adequacy_pct"] + 0.5


@pytest.mark.parametrize("station", ["McLean", "Gainesville"])
def test_where_it_rains_as_much_is_met_with_less_water(
    station: str, table: dict[tuple[str, str], dict[str, float]]
) -> None:
    ours, peak = table[station, "ours"], table[station, "peak in ratio, cycle-soak"]

    assert ours["adequacy_pct"] > peak["adequacy_pct"] - 0.2
    assert ours["gross_mm"] < 0.98 * peak["gross_mm"]
