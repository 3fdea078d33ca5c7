"""Files of the company: people, prices, visits asked for; and the watering rules of its suppliers."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fleet.models import Company, Tariff, Technician, User, VisitNeed
from fleet.services.bring.record_company import import_tariffs, import_technicians
from fleet.services.bring.record_visits import import_visits
from sites.models import Change, RuleSet
from sites.services.record_rules import import_rules
from tests.conftest import NOW
from tests.factories import build_site
from weather.importing.rows import ImportReport

pytestmark = pytest.mark.django_db
TECHNICIANS = "technician,name,start_latitude,start_longitude,shift_start,shift_end,workdays,skills,login"
VISITS = "site,kind,earliest,latest,priority,value_per_day,note"
TARIFFS = "supplier,from,tier_from_m3,price_per_m3,currency"


def _file(folder: Path, name: str, *lines: str) -> Path:
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _technicians(folder: Path, *rows: str) -> ImportReport:
    return import_technicians(path=_file(folder, "technicians.csv", TECHNICIANS, *rows), by="test", now=NOW)


def _visits(folder: Path, *rows: str) -> ImportReport:
    return import_visits(path=_file(folder, "visits.csv", VISITS, *rows), by="test", now=NOW)


def _tariffs(folder: Path, *rows: str) -> ImportReport:
    return import_tariffs(path=_file(folder, "tariffs.csv", TARIFFS, *rows))


@pytest.mark.parametrize("content", ['{"rule_sets": [NaN]}', '{"rule_sets": ' + "9" * 5_000 + "}", "{"])
def test_rules_that_are_no_json_are_refused_with_a_word(tmp_path: Path, content: str) -> None:
    report = import_rules(path=_file(tmp_path, "rules.json", content), by="test", now=NOW)

    assert "JSON in UTF-8" in str(report.problems[0])
    assert not report.written


def test_technicians_come_in_once_and_end_where_they_start(technician_user: User, tmp_path: Path) -> None:
    row = "T1,Ines Calder,41.2,-104.7,07:30,16:30,fri;mon,Wiring; audit,ines"

    first, second = _technicians(tmp_path, row), _technicians(tmp_path, row)

    technician = Technician.objects.get()
    assert (first.added, second.unchanged) == (1, 1)
    assert technician.user == technician_user
    assert (technician.end_latitude, technician.workdays, technician.skills) == (
        41.2,
        "mon,fri",
        "audit;wiring",
    )
    assert Change.objects.filter(kind="technician").count() == 1


@pytest.mark.parametrize(
    ("row", "column", "expected"),
    [
        ("T1,Ines,95,-104.7,07:30,16:30,mon,,", "start_latitude", "-90 to 90"),
        ("T1,Ines,41.2,-104.7,16:30,07:30,mon,,", "shift_end", "after 16:30"),
        ("T1,Ines,41.2,-104.7,07:30,16:30,someday,,", "workdays", "mon,tue,wed"),
        ("T1,Ines,41.2,-104.7,07:30,16:30,mon,,nobody", "login", "role technician"),
        ("T1,Ines,41.2,-104.7,25:00,26:00,mon,,", "shift_start", "04:30"),
    ],
)
def test_a_bad_technician_is_refused_by_name(tmp_path: Path, row: str, column: str, expected: str) -> None:
    report = _technicians(tmp_path, row)

    assert any(p.column == column and expected in p.expected for p in report.problems)
    assert not Technician.objects.exists()


def test_a_dispatchers_account_cannot_drive(dispatcher: User, tmp_path: Path) -> None:
    report = _technicians(tmp_path, "T1,Hana,41.2,-104.7,07:30,16:30,mon,,hana")

    assert "role technician" in str(report.problems[0])


def test_a_visit_asked_for_becomes_a_need_with_a_promised_window(company: Company, tmp_path: Path) -> None:
    build_site()
    row = "CB-14,complaint,2026-06-16T10:00,2026-06-16T12:00,3,,Brown patch."

    first, second = _visits(tmp_path, row), _visits(tmp_path, row)

    need = VisitNeed.objects.get()
    assert (first.added, second.unchanged) == (1, 1)
    assert need.earliest == datetime(2026, 6, 16, 16, 0, tzinfo=UTC)  # site-local, Denver in summer
    assert (need.promised, need.value_per_day, need.reason) == (True, 30.0, "Brown patch.")


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("XX-1,complaint,,,3,,", "site"),
        ("CB-14,party,,,3,,", "kind"),
        ("CB-14,log_missing,,,3,,", "kind"),
        ("CB-14,complaint,2026-06-16T12:00,2026-06-16T10:00,3,,", "latest"),
        ("CB-14,complaint,,,9,,", "priority"),
        ("CB-14,complaint,soon,,3,,", "earliest"),
    ],
)
def test_a_bad_visit_is_refused_by_name(company: Company, tmp_path: Path, row: str, column: str) -> None:
    build_site()

    report = _visits(tmp_path, row)

    assert [problem.column for problem in report.problems] == [column]
    assert not VisitNeed.objects.exists()


def test_a_need_that_is_done_is_not_opened_again_by_its_file(company: Company, tmp_path: Path) -> None:
    build_site()
    _visits(tmp_path, "CB-14,complaint,,,3,,Brown patch.")
    VisitNeed.objects.update(state=VisitNeed.State.DONE)

    report = _visits(tmp_path, "CB-14,complaint,,,4,,Brown patch, again.".replace(", again", " again"))

    assert report.changed == 0
    assert VisitNeed.objects.get().state == VisitNeed.State.DONE


def test_tariffs_replace_a_tier_of_the_same_day(tmp_path: Path) -> None:
    _tariffs(tmp_path, "Hillside Mutual,2026-01-01,0,1.2,usd", "Hillside Mutual,2026-01-01,20,2.1,USD")

    report = _tariffs(tmp_path, "Hillside Mutual,2026-01-01,20,2.3,USD")

    assert (report.changed, Tariff.objects.count()) == (1, 2)
    assert Tariff.objects.get(tier_from_m3=20).price_per_m3 == 2.3


def test_tiers_of_one_day_share_a_currency(tmp_path: Path) -> None:
    report = _tariffs(
        tmp_path, "Hillside Mutual,2026-01-01,0,1.2,USD", "Hillside Mutual,2026-01-01,20,2.1,CAD"
    )

    assert "USD, as in the other tiers" in str(report.problems[0])
    assert not Tariff.objects.exists()


RULES = {
    "rule_sets": [
        {
            "rule_set": "two-days",
            "supplier": "Hillside Mutual",
            "stages": [
                {"name": "stage 2", "from": "2026-03-01", "until": None, "windows": ["20:00-08:00"],
                 "weekdays": {"odd": ["wed"], "even": ["thu"]}, "address_rule": "odd"}
            ],
        }
    ]
}  # fmt: skip


def test_rules_come_in_and_repeat_harmlessly(tmp_path: Path) -> None:
    path = _file(tmp_path, "rules.json", json.dumps(RULES))

    first = import_rules(path=path, by="test", now=NOW)
    second = import_rules(path=path, by="test", now=NOW)

    assert (first.added, second.unchanged) == (1, 1)
    assert RuleSet.objects.get().stages.get().name == "stage 2"


@pytest.mark.parametrize("content", ["{", "[]", '{"rule_sets": 3}', '{"rule_sets": [{"rule_set": "a"}]}'])
def test_broken_rules_are_refused_and_write_nothing(tmp_path: Path, content: str) -> None:
    report = import_rules(path=_file(tmp_path, "rules.json", content), by="test", now=NOW)

    assert report.problems
    assert not RuleSet.objects.exists()


def test_a_window_that_is_none_is_refused_with_its_place(tmp_path: Path) -> None:
    broken = json.loads(json.dumps(RULES))
    broken["rule_sets"][0]["stages"][0]["windows"] = ["all night"]

    report = import_rules(path=_file(tmp_path, "rules.json", json.dumps(broken)), by="test", now=NOW)

    assert "windows" in str(report.problems[0])
    assert "stages[1]" in str(report.problems[0])
