"""A company's Monday on real weather: files in, every stage, files out; and the same again."""

from __future__ import annotations

import csv
import functools
import io
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from fleet.models import Company
from fleet.services import run_day as stages
from fleet.services.plan.plan_routes import plan_routes
from tests.pipeline.company_files import TODAY, write_company

pytestmark = pytest.mark.django_db

IMPORTS = (
    ("import_weather", "weather.csv"),
    ("import_rules", "rules.json"),
    ("import_book", "book.geojson"),
    ("import_tariffs", "tariffs.csv"),
    ("import_technicians", "technicians.csv"),
    ("import_programs", "programs.csv"),
    ("import_bypass", "bypass.csv"),
    ("import_meter", "meter.csv"),
    ("import_visits", "visits.csv"),
)
EXPORTS = {
    "programs": ["--week", TODAY.isoformat()],
    "flags": [],
    "needs": [],
    "routes": ["--week", TODAY.isoformat()],
    "visits": ["--week", TODAY.isoformat()],
    "ledger": ["--period", "all", "--start", "2015-01-01", "--end", TODAY.isoformat()],
    "balance": ["--start", "2015-07-01", "--end", TODAY.isoformat()],
}


def run_company(folder: Path) -> dict[str, list[dict[str, str]]]:
    """Bring every file in, run the day, and take every file out."""
    for command, name in IMPORTS:
        call_command(command, str(folder / name), stdout=StringIO(), stderr=StringIO())
    call_command("run_day", "--date", TODAY.isoformat(), stdout=StringIO())
    taken = {}
    for kind, arguments in EXPORTS.items():
        out = StringIO()
        call_command("export", kind, *arguments, stdout=out, stderr=StringIO())
        taken[kind] = list(csv.DictReader(io.StringIO(out.getvalue())))
    return taken


@pytest.fixture
def one_company(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A real company (not the demo) whose today lies in the record, with no weather to pull."""
    settings.WEATHER_SOURCES = []
    Company.objects.create(
        pk=1, name="Marlow & Finch Garden Water", timezone="America/Phoenix", currency="USD", demo_today=TODAY
    )
    monkeypatch.setattr(stages, "plan_routes", functools.partial(plan_routes, iterations=300))


def numbers(rows: list[dict[str, str]], name: str) -> list[float]:
    """A column as numbers, empty cells left out."""
    return [float(row[name]) for row in rows if row[name]]


@pytest.mark.usefixtures("one_company")
def test_files_become_programs_flags_routes_and_ledger_and_a_second_run_changes_nothing(
    tmp_path: Path,
) -> None:
    folder = write_company(tmp_path / "company")

    first = run_company(folder)
    second = run_company(folder)

    # Programs: every governed controller has one, inside its window, watering both zones.
    programs = first["programs"]
    assert len({row["site"] for row in programs}) == 30
    assert all(value > 0 for value in numbers(programs, "run_min"))
    assert min(numbers(programs, "adequacy_pct")) > 0
    # The desert asks for more water than the prairie.
    depth = {
        place: sum(numbers([r for r in programs if r["site"].startswith(place)], "week_need_mm")) / gardens
        for place, gardens in (("MA", 20), ("MC", 10))
    }
    assert depth["MA"] > 1.3 * depth["MC"]
    # Watch: a state for every governed controller with a sensor; exactly the two planted faults are flagged.
    assert len(first["flags"]) == 22
    flagged = {row["site"]: row["cause"] for row in first["flags"] if row["status"] == "flag"}
    assert flagged == {"MA-02": "stuck_wet", "MC-02": "stuck_wet"}
    # Needs and routes: the flagged gardens and the promise are on a route, each garden once.
    assert {"MA-02", "MC-02", "MA-05"} <= {row["site"] for row in first["needs"]}
    stops = [row for row in first["routes"] if row["technician"] and row["site"]]
    assert {"MA-02", "MC-02", "MA-05"} <= {row["site"] for row in stops}
    assert len({row["site"] for row in stops}) == len(stops)
    promise = next(row for row in stops if row["site"] == "MA-05")
    assert "2015-07-21T09:00-07:00" <= promise["arrive"] <= "2015-07-21T11:00-07:00"
    assert all(row["technician"][:2] == row["site"][:2] for row in stops)
    # Ledger: one row a site and one for all.
    assert {row["site"] for row in first["ledger"]} >= {"ALL", "MA-01", "MC-10"}
    # Balance: water on every zone and day.
    assert len(first["balance"]) == 19 * 60
    for kind, rows in first.items():
        assert second[kind] == rows, kind
