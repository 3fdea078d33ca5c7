"""The commands: their names, options, exit codes and last line, on which users' scripts rest."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from unittest.mock import patch

import pytest
from django.conf import settings
from django.core.management import get_commands, load_command_class
from django.db import connections

from fleet.models import AuditEntry, Company
from sites.models import Site
from tests.factories import build_controller, build_location, build_site, build_zone
from weather.models import DailyWeather

IMPORTS = [
    "book",
    "weather",
    "bypass",
    "meter",
    "readings",
    "programs",
    "technicians",
    "visits",
    "tariffs",
    "contracts",
    "rules",
]
# A line of words that each command must understand; FILE stands for a path.
UNDERSTOOD = {
    "demo": ["", "--sites 12 --port 8123 --no-serve --fresh"],
    **{f"import_{name}": ["FILE", "FILE --dry-run", "FILE --keep-good"] for name in IMPORTS},
    "pull_weather": ["", "--days 30 --source nasa_power"],
    "weekly_round": ["--week 2026-06-15", "--week 2026-06-15 --sites A,B"],
    "watch_sensors": ["--as-of 2026-06-14"],
    "plan_routes": ["--week 2026-06-15 --seconds 3 --seed 4", "--date 2026-06-16"],
    "run_day": ["--date 2026-06-15"],
    "build_streets": ["FILE", "FILE --anyway"],
    "score_watch": ["--seeds 1,2"],
    "score_programs": ["--seeds 1,2"],
    "score_ledger": ["--seeds 2"],
    "export": [
        "programs --week 2026-06-15 --format csv --output FILE",
        "flags --as-of 2026-06-14 --format geojson",
        "ledger --start 2026-01-01 --end 2026-06-01 --period season --format json",
        "ledger --start 2026-01-01 --end 2026-06-01 --period day",
        "ledger --start 2026-01-01 --end 2026-06-01 --period all",
        "routes --date 2026-06-15 --format gpkg --output FILE",
        "book --private",
        *(f"{kind}" for kind in ("needs", "visits", "findings", "weather", "balance", "history")),
    ],
    "found_company": [
        "--name Marlow --timezone America/Denver",
        "--name Marlow --timezone Europe/Athens --currency EUR --depot 41.2 -104.7",
    ],
    "backup": ["FILE"],
    "restore": ["FILE"],
}
UNUSABLE = [
    *(f"import_{name}" for name in IMPORTS),
    "import_book FILE --sideways",
    "weekly_round",
    "weekly_round --week 2026-06-16",
    "weekly_round --week 2026-06-15 --sites NOBODY",
    "watch_sensors",
    "watch_sensors --as-of yesterday",
    "plan_routes",
    "plan_routes --week 2026-06-15 --date 2026-06-15",
    "plan_routes --week 2026-06-15 --seconds 0",
    "run_day",
    "run_day --date 2026-13-01",
    "pull_weather --days 0",
    "pull_weather --source crystal_ball",
    "build_streets",
    "score_watch --seeds one",
    "score_programs --climates moon",
    "score_ledger --seeds 0",
    "found_company",
    "found_company --name Marlow",
    "found_company --name Marlow --timezone Mars/Olympus",
    "found_company --name Marlow --timezone UTC --currency dollars",
    "found_company --name Marlow --timezone UTC --depot 95 0",
    "export",
    "export secrets",
    "export programs",
    "export programs --date 2026-06-15",
    "export ledger --start 2026-06-01 --end 2026-06-01",
    "export ledger --start 2026-06-01 --end 2026-07-01 --period decade",
    "export balance --date 2026-06-15 --format geojson",
    "export weather --date 2026-06-15 --format gpkg",
    "export book --output NOWHERE/book.csv",
    "export book --format gpkg --output NOWHERE/book.gpkg",
    "export book --output .",
    "backup NOWHERE/state.zip",
    "restore NOWHERE/state.zip",
    "demo --sites 3",
]


def run(line: str, tmp_path: Path) -> int:
    """Exit code of a command as its user calls it."""
    words = [
        word.replace("NOWHERE", str(tmp_path / "nowhere")).replace("FILE", str(tmp_path / "file"))
        for word in line.split()
    ]
    command = load_command_class(get_commands()[words[0]], words[0])
    # Leaving, a command closes the database; the transaction of the test has to outlive it.
    with patch.object(connections, "close_all"):
        try:
            command.run_from_argv(["manage.py", *words])
        except SystemExit as left:
            return int(left.code or 0)
    return 0


@pytest.mark.parametrize("name", UNDERSTOOD)
def test_a_command_takes_its_options_and_gives_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    command = load_command_class(get_commands()[name], name)
    parser = command.create_parser("manage.py", name)

    for line in UNDERSTOOD[name]:
        parser.parse_args(line.split())
    with pytest.raises(SystemExit) as left:
        parser.parse_args(["--help"])

    assert left.value.code == 0
    assert command.help
    assert command.help.split()[0] in capsys.readouterr().out


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("line", UNUSABLE)
def test_unusable_arguments_leave_with_2(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(line, tmp_path) == 2
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.django_db
@pytest.mark.parametrize("name", IMPORTS)
@pytest.mark.parametrize("content", ["", "\x00\x01", "<xml/>", "{", "a,b\n1,2\n"], ids=repr)
def test_a_file_that_is_none_leaves_with_1_and_one_line_last(
    name: str, content: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text(content)

    code = run(f"import_{name} FILE", tmp_path)

    said = capsys.readouterr()
    assert code == 1
    assert "expected" in said.err
    assert said.out.strip().splitlines()[-1].startswith("file: 0 added, 0 changed, 0 unchanged")
    assert said.out.strip().endswith("nothing was written")


@pytest.mark.django_db
@pytest.mark.parametrize("name", IMPORTS)
def test_a_file_that_is_missing_leaves_with_1(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(f"import_{name} FILE", tmp_path) == 1
    assert "expected a" in capsys.readouterr().err


@pytest.mark.usefixtures("company")
def test_a_single_site_with_a_reason_does_not_fail_the_round_and_the_watch(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("weekly_round --week 2026-06-15", tmp_path) == 0
    assert run("watch_sensors --as-of 2026-06-14", tmp_path) == 0

    build_zone(build_controller(build_site("NOSKY")), 1)

    # Nothing at all could be computed: that is told by the exit code too.
    assert run("weekly_round --week 2026-06-15", tmp_path) == 1
    assert "NOSKY: " in capsys.readouterr().err


@pytest.mark.usefixtures("company")
def test_private_columns_come_only_when_asked_for_and_that_is_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    build_site(gate_code="4711#", phone="555 0100")
    assert run("export book", tmp_path) == 0
    plain = capsys.readouterr().out
    assert "4711#" not in plain
    assert "555 0100" not in plain
    assert "Okafor" in plain
    assert not AuditEntry.objects.exists()

    assert run("export book --private", tmp_path) == 0

    assert "4711#" in capsys.readouterr().out
    assert AuditEntry.objects.get().what == "export book with private data"
    for form in ("csv", "json", "geojson", "gpkg"):
        assert run(f"export book --private --format {form} --output FILE.{form}", tmp_path) == 0
        assert (tmp_path / f"file.{form}").stat().st_mode & 0o077 == 0, form


@pytest.mark.usefixtures("company")
def test_an_export_to_a_file_says_so_once_and_last(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    build_site(name="=cmd|' /C calc'!A0")

    assert run("export book --output FILE", tmp_path) == 0

    said = capsys.readouterr()
    assert said.out.splitlines() == [f"book: 1 rows to {tmp_path / 'file'}"]
    assert said.err == ""
    assert ",'=cmd" in (tmp_path / "file").read_text()


@pytest.mark.usefixtures("company")
@pytest.mark.parametrize("form", ["geojson", "gpkg"])
def test_days_of_weather_leave_with_their_place(form: str, tmp_path: Path) -> None:
    DailyWeather.objects.create(
        location=build_location(), day=date(2026, 6, 14), issued=date(2026, 6, 14), source="test",
        fetched_at=datetime(2026, 6, 15, tzinfo=UTC), tmin_c=9.0, tmax_c=27.0, rain_mm=0.0, eto_mm=5.0,
    )  # fmt: skip

    assert run(f"export weather --date 2026-06-14 --format {form} --output FILE.{form}", tmp_path) == 0

    written = (tmp_path / f"file.{form}").read_bytes()
    if form == "geojson":
        (feature,) = json.loads(written)["features"]
        assert feature["geometry"] == {"type": "Point", "coordinates": [-104.7, 41.2]}
        assert feature["properties"]["tmax_c"] == 27.0
    else:
        assert written.startswith(b"SQLite format 3")


@pytest.mark.django_db
def test_the_demo_refuses_a_database_that_holds_another_company(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Company.objects.create(pk=1, name="Real Gardens", timezone="UTC", currency="EUR")

    assert run("demo --no-serve", tmp_path) == 2
    assert run("demo --no-serve --fresh", tmp_path) == 2

    assert Company.objects.get().name == "Real Gardens"
    assert "another company" in capsys.readouterr().err


@pytest.mark.django_db
def test_the_demo_refuses_a_book_without_a_company(tmp_path: Path) -> None:
    build_site("OWN-1")

    assert run("demo --no-serve", tmp_path) == 2

    assert Site.objects.get().code == "OWN-1"


def test_settings_come_from_the_environment_and_from_env(tmp_path: Path) -> None:
    say = (
        "from django.conf import settings; d = settings.DATABASES['default'];"
        " print(d['NAME'], settings.CELERY_BROKER_URL, settings.DATA_DIR, settings.SECRET_KEY, sep='|')"
    )
    environment = {
        "PATH": "/usr/bin:/bin",
        "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
        "ROOTROUND_DATA": str(tmp_path / "data"),
        "SECRET_KEY": "told-by-the-environment-and-long-enough-to-be-one",
        "CELERY_BROKER_URL": "memory://",
        "DATABASE_URL": f"sqlite:///{tmp_path}/own.sqlite3",
    }

    told = subprocess.run(
        [sys.executable, "-c", f"import django; django.setup(); {say}"],
        cwd=settings.BASE_DIR, env=environment, capture_output=True, text=True, check=True,
    ).stdout.strip()  # fmt: skip

    database, broker, folder, key = told.split("|")
    assert database == f"{tmp_path}/own.sqlite3"
    assert broker == "memory://"
    assert folder == str(tmp_path / "data")
    assert key == environment["SECRET_KEY"]


def test_without_settings_everything_lies_in_the_data_folder(tmp_path: Path) -> None:
    say = (
        "from django.conf import settings;"
        " print(settings.DATABASES['default']['NAME'], settings.CELERY_BROKER_URL, sep='|')"
    )

    told = subprocess.run(
        [sys.executable, "-c", f"import django; django.setup(); {say}"],
        cwd=settings.BASE_DIR,
        env={
            "PATH": "/usr/bin:/bin",
            "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
            "ROOTROUND_DATA": str(tmp_path / "data"),
        },
        capture_output=True, text=True, check=True,
    ).stdout.strip()  # fmt: skip

    assert all(str(tmp_path / "data") in part for part in told.split("|"))
