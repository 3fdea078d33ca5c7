"""Every import on a good file and on a half-good one: repeated, tried out, refused whole, or kept in part."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.db.models import Model

from fleet.models import Company, ServiceContract, Tariff, Technician, VisitNeed
from sites.models import BypassLog, MeterReading, MeterVolume, ProgramLine, RuleSet, Site
from tests.contract.test_commands import run
from tests.factories import build_controller, build_sensor, build_site, build_zone
from weather.models import DailyWeather


@dataclass(frozen=True)
class Case:
    """An import: what it writes, a good file, the same with one bad row more, and what is wrong in it."""

    model: type[Model]
    good: str
    bad: str
    told: str


def _csv(header: str, good: str, bad: str) -> tuple[str, str]:
    return f"{header}\n{good}\n", f"{header}\n{good}\n{bad}\n"


def _site(code: str, **more: object) -> dict[str, object]:
    properties = {"kind": "site", "site": code, "name": f"garden {code}", **more}
    shape = {"type": "Point", "coordinates": [-104.7, 41.2]}
    return {"type": "Feature", "properties": properties, "geometry": shape}


def _book(*features: object) -> str:
    return json.dumps({"type": "FeatureCollection", "features": features})


def _rules(*sets: object) -> str:
    return json.dumps({"rule_sets": sets})


_NIGHT = {
    "rule_set": "town",
    "supplier": "Wend Valley",
    "stages": [{"name": "one", "windows": ["20:00-10:00"]}],
}
_NEVER = {"rule_set": "moon", "supplier": "", "stages": [{"name": "one", "windows": ["25:00-10:00"]}]}
CASES = {
    "book": Case(
        Site,
        _book(_site("N-1")),
        _book(_site("N-1"), _site("N-2", soil="moondust")),
        "column soil: 'moondust'",
    ),
    "weather": Case(
        DailyWeather,
        *_csv(
            "location,latitude,longitude,elevation_m,date,tmin_c,tmax_c,rain_mm",
            "plain,41.2,-104.7,1500,2026-06-01,9,27,0",
            "plain,41.2,-104.7,1500,2026-06-02,49,81,0",
        ),
        "row 3, column tmax_c: '81.0': expected degrees Celsius",
    ),
    "bypass": Case(
        BypassLog,
        *_csv(
            "site,controller,date,starts_bypassed,starts_scheduled",
            "CB-14,A,2026-06-01,1,2",
            "CB-14,A,2026-06-02,3,2",
        ),
        "row 3, column starts_bypassed: '3': expected bypassed and skipped together at most 2",
    ),
    "meter": Case(
        MeterVolume,
        *_csv(
            "site,start,end,volume,unit",
            "CB-14,2026-01-01,2026-02-01,9,m3",
            "CB-14,2026-01-15,2026-03-01,9,m3",
        ),
        "row 3, column start: '2026-01-15': expected a period clear of",
    ),
    "readings": Case(
        MeterReading,
        *_csv(
            "site,meter_id,read_at,reading,unit",
            "CB-14,M1,2026-01-01T08:00,100,m3",
            "CB-14,M1,2026-02-01T08:00,90,m3",
        ),
        "row 3, column reading: '90': expected at least 100",
    ),
    "programs": Case(
        ProgramLine,
        *_csv(
            "site,controller,program,days,starts,station,run_min,as_of",
            "CB-14,A,A,odd,04:00;05:30,1,10,2026-04-01",
            "CB-14,A,B,odd,22:00,9,10,2026-05-01",
        ),
        "row 3, column station: '9': expected a station up to 6",
    ),
    "technicians": Case(
        Technician,
        *_csv(
            "technician,name,start_latitude,start_longitude,shift_start,shift_end,workdays",
            'T1,Ines Calder,41.2,-104.7,07:30,16:30,"mon,tue"',
            "T2,Otis Lund,41.2,-104.7,07:30,16:30,someday",
        ),
        "row 3, column workdays: 'someday': expected weekdays",
    ),
    "visits": Case(
        VisitNeed,
        *_csv("site,kind,priority", "CB-14,audit,3", "CB-14,party,3"),
        "row 3, column kind: 'party': expected one of",
    ),
    "contracts": Case(
        ServiceContract,
        *_csv(
            "site,first_day,last_day,price_per_year,currency,visits_audit",
            "CB-14,2026-04-01,2027-03-31,320,USD,1",
            "CB-14,2027-03-01,2028-02-29,320,USD,1",
        ),
        "row 3, column first_day: '2027-03-01': expected days beside those of row 2",
    ),
    "tariffs": Case(
        Tariff,
        *_csv(
            "supplier,from,price_per_m3,currency",
            "Wend Valley,2026-01-01,2.5,USD",
            "Wend Valley,2026-02-01,-1,USD",
        ),
        "row 3, column price_per_m3: '-1': expected a number from 0",
    ),
    "rules": Case(RuleSet, _rules(_NIGHT), _rules(_NIGHT, _NEVER), "'25:00' is no time of day"),
}


@pytest.fixture
def send(company: Company, tmp_path: Path) -> Callable[..., int]:
    """Send a text as a file to an import; its exit code."""
    controller = build_controller(build_site())
    build_zone(controller, 1)
    build_sensor(controller)

    def sent(name: str, text: str, *words: str) -> int:
        (tmp_path / "file").write_text(text, encoding="utf-8")
        return run(" ".join((f"import_{name} FILE", *words)), tmp_path)

    return sent


def _rows(case: Case) -> int:
    """Rows that the import has written."""
    rows = case.model._default_manager
    return rows.exclude(code="CB-14").count() if case.model is Site else rows.count()


@pytest.mark.parametrize("name", CASES)
def test_a_good_file_comes_in_once(
    name: str, send: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]

    assert send(name, case.good) == 0
    assert "1 added, 0 changed, 0 unchanged" in capsys.readouterr().out.splitlines()[-1]
    assert send(name, case.good) == 0

    assert "0 added, 0 changed, 1 unchanged" in capsys.readouterr().out.splitlines()[-1]
    assert _rows(case) == 1


@pytest.mark.parametrize("name", CASES)
def test_a_dry_run_reports_and_writes_nothing(
    name: str, send: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]

    assert send(name, case.good, "--dry-run") == 0

    assert "1 added" in capsys.readouterr().out.splitlines()[-1]
    assert _rows(case) == 0


@pytest.mark.parametrize("name", CASES)
def test_a_file_with_a_bad_row_changes_nothing_and_names_it(
    name: str, send: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]

    assert send(name, case.bad) == 1

    said = capsys.readouterr()
    assert "file: row " in said.err
    assert case.told in said.err
    assert said.out.rstrip().endswith("; nothing was written")
    assert _rows(case) == 0


@pytest.mark.parametrize("name", CASES)
def test_the_good_rows_are_kept_when_asked_for(
    name: str, send: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]

    assert send(name, case.bad, "--keep-good") == 1

    said = capsys.readouterr()
    assert case.told in said.err
    assert "1 added" in said.out.splitlines()[-1]
    assert _rows(case) == 1


def test_more_blocked_starts_than_the_program_offers_are_kept_with_a_word(
    send: Callable[..., int], capsys: pytest.CaptureFixture[str]
) -> None:
    assert send("programs", CASES["programs"].good) == 0  # two starts on odd dates since April
    counts = "site,controller,date,starts_bypassed\nCB-14,A,{}\n"

    assert send("bypass", counts.format("2026-06-01,2")) == 0
    assert "look at" not in capsys.readouterr().out
    assert send("bypass", counts.format("2026-06-03,7")) == 0

    assert (
        "look at: row 2: 7 starts blocked, skipped or cut short, where the program in the book offers 2"
        in capsys.readouterr().out
    )
    assert send("bypass", counts.format("2026-01-05,7")) == 0
    assert "look at" not in capsys.readouterr().out  # nobody told what was set in January
    assert BypassLog.objects.count() == 3
