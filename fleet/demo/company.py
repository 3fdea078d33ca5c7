"""Builds the invented company: files from a seed, brought in by the same imports that a company uses."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import shapely

from fleet.demo.book import TIMEZONE
from fleet.demo.files import DemoFiles, write_demo_files
from fleet.demo.ground_plan import DEPOT_M, lonlat
from fleet.demo.last_week import work_last_friday
from fleet.demo.load import load_demo_trucks
from fleet.demo.office import COMPANY, OFFICE, PEOPLE
from fleet.demo.quotes import make_demo_quotes
from fleet.demo.rebates import enter_demo_rebates
from fleet.models import Technician, User
from fleet.services.bring.record_company import import_tariffs, import_technicians
from fleet.services.bring.record_contracts import import_contracts
from fleet.services.bring.record_visits import import_visits
from fleet.services.company.company import DemoFounding, add_accounts, found_demo_company
from fleet.services.company.technicians import save_certificate
from fleet.services.plan.streets import build_streets
from sites.services.book import import_book
from sites.services.locations import assign_locations
from sites.services.record_bypass import import_bypass
from sites.services.record_meters import import_meter, import_readings
from sites.services.record_programs import import_programs
from sites.services.record_rules import import_rules
from weather.importing.rows import ImportReport
from weather.services.import_weather import import_weather

BY: Final = "demo"
Steps = tuple[tuple[str, Callable[[Path], ImportReport]], ...]
# The gardens joined the company long before today, so that calendar needs may be raised [d].
JOINED_BACK: Final = timedelta(days=300)


class DemoFileRefused(RuntimeError):
    """An import refused a file that the demo made: a fault of the product."""


def build_demo_company(
    *,
    data_dir: Path,
    sites: int,
    seed: int,
    today: date,
    tell: Callable[[str], None],
    begins_today: bool = False,
) -> DemoFiles:
    """Found the company and bring all its files in.

    Parameters
    ----------
    data_dir
        Data folder; the files go into its `demo` folder.
    sites
        Number of gardens.
    seed
        Seed of all chance.
    today
        The company's today.
    tell
        Called with the name of each step.
    begins_today
        Leave out what the office did before today: visits made, findings, quotes, rebates.
    """
    tell(f"inventing {sites} gardens, five years of weather and their records")
    files = write_demo_files(data_dir / "demo", sites=sites, seed=seed, today=today)
    depot = lonlat(shapely.Point(*DEPOT_M))
    now = datetime.combine(today, time(6, 30), ZoneInfo(TIMEZONE))
    found_demo_company(
        founding=DemoFounding(
            name=COMPANY,
            timezone=TIMEZONE,
            currency="USD",
            seed=seed,
            today=today,
            depot=(depot.y, depot.x),
            layers=files.layers,
        )
    )
    add_accounts(people=OFFICE)
    add_accounts(
        people=[
            (login, name.split()[0], name.split()[1], User.Role.TECHNICIAN.value)
            for _, name, login, *_ in PEOPLE
        ]
    )
    _bring_in(_book_steps(today, now), files.folder, tell=tell)
    assign_locations()
    load_demo_trucks(by=BY, now=now, seed=seed)
    for person in Technician.objects.filter(skills__contains="backflow"):
        save_certificate(
            technician_id=person.pk, skill="backflow", number="BT-2291", by=BY, now=now,
            valid_until=today + timedelta(days=200),
        )  # fmt: skip
    tell("streets from the extract")
    build_streets(path=files.folder / "streets.osm", data_dir=data_dir)
    if not begins_today:
        tell("last Friday's calls, quotes and rebates")
        extra = work_last_friday(today=today, morning=now, seed=seed)
        make_demo_quotes(extra=extra, today=today, morning=now)
        enter_demo_rebates(today=today, morning=now)
    _bring_in(
        (("visits.csv", lambda path: import_visits(path=path, by=BY, now=now)),), files.folder, tell=tell
    )
    return files


def _book_steps(today: date, now: datetime) -> Steps:
    """Imports of the files in an order in which each finds what it refers to; visits come after last week."""
    return (
        ("weather.csv", lambda path: import_weather(path=path, now=now)),
        ("rules.json", lambda path: import_rules(path=path, by=BY, now=now)),
        (
            "book.geojson",
            lambda path: import_book(path=path, by=BY, now=now, today=today - JOINED_BACK, timezone=TIMEZONE),
        ),
        ("tariffs.csv", lambda path: import_tariffs(path=path)),
        ("technicians.csv", lambda path: import_technicians(path=path, by=BY, now=now)),
        ("programs.csv", lambda path: import_programs(path=path, by=BY, now=now)),
        ("bypass.csv", lambda path: import_bypass(path=path, today=today)),
        ("meter.csv", lambda path: import_meter(path=path, today=today)),
        ("readings.csv", lambda path: import_readings(path=path, now=now)),
        ("contracts.csv", lambda path: import_contracts(path=path, by=BY, now=now)),
    )


def _bring_in(steps: Steps, folder: Path, *, tell: Callable[[str], None]) -> None:
    """Import files; those that hold nothing are passed over."""
    for name, bring in steps:
        if not (folder / name).read_text(encoding="utf-8").strip():
            continue  # few gardens may have none of a kind
        report = bring(folder / name)
        if report.problems:
            raise DemoFileRefused(f"{len(report.problems)} problems, first: {report.problems[0]}")
        tell(report.summary())
