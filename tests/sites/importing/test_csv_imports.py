"""Files of programs, logs and meters: what is refused, what is kept, and that twice is the same as once."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sites.models import (
    BypassLog,
    Change,
    Controller,
    MeterReading,
    MeterVolume,
    ProgramLine,
    ProgramSet,
    Site,
)
from sites.services.record_bypass import import_bypass
from sites.services.record_meters import import_meter, import_readings
from sites.services.record_programs import import_programs
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_site, build_zone
from weather.importing.rows import ImportReport

pytestmark = pytest.mark.django_db


@pytest.fixture
def controller() -> Controller:
    """Site CB-14, controller A with two zones, three programs of four starts, at most 60 minutes."""
    controller = build_controller(build_site(), max_run_min=60)
    build_zone(controller, 1)
    build_zone(controller, 2)
    return controller


def _file(folder: Path, name: str, *lines: str) -> Path:
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _problem(report: ImportReport) -> str:
    assert len(report.problems) == 1, [str(problem) for problem in report.problems]
    assert not report.written
    return str(report.problems[0])


PROGRAMS = "site,controller,program,days,starts,station,run_min,as_of"
GOOD_PROGRAM = "CB-14,A,A,odd,04:00;05:30,1,12,2026-05-01"


def _programs(folder: Path, *rows: str) -> ImportReport:
    return import_programs(path=_file(folder, "programs.csv", PROGRAMS, *rows), by="test", now=NOW)


def test_a_programs_file_imported_twice_changes_nothing_the_second_time(
    controller: Controller, tmp_path: Path
) -> None:
    rows = (GOOD_PROGRAM, "CB-14,A,A,odd,04:00;05:30,2,6,2026-05-01")

    first, second = _programs(tmp_path, *rows), _programs(tmp_path, *rows)

    assert (first.added, first.changed) == (1, 0)
    assert (second.added, second.changed, second.unchanged) == (0, 0, 1)
    assert ProgramLine.objects.count() == 2
    assert Change.objects.filter(kind="program_set").count() == 1
    assert Site.objects.get().stale_from == date(2026, 5, 1)


def test_a_changed_program_replaces_the_setting_of_that_day(controller: Controller, tmp_path: Path) -> None:
    _programs(tmp_path, GOOD_PROGRAM)

    report = _programs(tmp_path, "CB-14,A,A,odd,04:00;05:30,1,9,2026-05-01")

    assert report.changed == 1
    assert ProgramLine.objects.get().run_min == 9
    assert ProgramSet.objects.count() == 1


@pytest.mark.parametrize(
    ("row", "column", "expected"),
    [
        ("XX-01,A,A,odd,04:00,1,12,2026-05-01", "site", "a site of the book"),
        ("CB-14,B,A,odd,04:00,1,12,2026-05-01", "controller", "a controller of site CB-14"),
        ("CB-14,A,D,odd,04:00,1,12,2026-05-01", "program", "A to C"),
        ("CB-14,A,A,sometimes,04:00,1,12,2026-05-01", "days", "mon,wed,fri"),
        ("CB-14,A,A,odd,4 o'clock,1,12,2026-05-01", "starts", "04:00"),
        ("CB-14,A,A,odd,01:00;02:00;03:00;04:00;05:00,1,12,2026-05-01", "starts", "at most 4 starts"),
        ("CB-14,A,A,odd,04:00,9,12,2026-05-01", "station", "a station up to 6"),
        ("CB-14,A,A,odd,04:00,5,12,2026-05-01", "station", "has a zone"),
        ("CB-14,A,A,odd,04:00,1,61,2026-05-01", "run_min", "at most 60 min"),
        ("CB-14,A,A,odd,04:00,1,1.5,2026-05-01", "run_min", "steps of 1"),
        ("CB-14,A,A,odd,04:00,1,-3,2026-05-01", "run_min", "0 to 1440"),
        ("CB-14,A,A,odd,04:00,1,12,first of May", "as_of", "2026-06-14"),
    ],
)
def test_a_bad_program_row_names_row_column_and_what_was_expected(
    controller: Controller, tmp_path: Path, row: str, column: str, expected: str
) -> None:
    problem = _problem(_programs(tmp_path, row))

    assert problem.startswith(f"programs.csv: row 2, column {column}")
    assert expected in problem
    assert not ProgramSet.objects.exists()


def test_keep_good_leaves_out_the_whole_setting_of_a_bad_row(controller: Controller, tmp_path: Path) -> None:
    path = _file(
        tmp_path, "programs.csv", PROGRAMS, GOOD_PROGRAM, "CB-14,A,A,odd,04:00;05:30,9,6,2026-05-01",
        "CB-14,A,A,odd,04:00,1,12,2026-06-01",
    )  # fmt: skip

    report = import_programs(path=path, by="test", now=NOW, keep_good=True)

    assert report.written
    assert list(ProgramSet.objects.values_list("as_of", flat=True)) == [date(2026, 6, 1)]


def test_a_dry_run_writes_nothing(controller: Controller, tmp_path: Path) -> None:
    report = import_programs(
        path=_file(tmp_path, "programs.csv", PROGRAMS, GOOD_PROGRAM), by="test", now=NOW, dry_run=True
    )

    assert (report.added, report.written) == (1, False)
    assert not ProgramSet.objects.exists()


BYPASS = "site,controller,date,start,end,starts_bypassed,starts_scheduled,starts_skipped,method"


def _bypass(folder: Path, *rows: str) -> ImportReport:
    return import_bypass(path=_file(folder, "bypass.csv", BYPASS, *rows), today=DAY)


def test_logs_of_days_and_periods_are_kept_and_repeat_harmlessly(
    controller: Controller, tmp_path: Path
) -> None:
    rows = ("CB-14,A,2026-06-01,,,1,2,0,", "CB-14,A,,2026-06-02,2026-06-09,5,14,1,counter_read")

    first, second = _bypass(tmp_path, *rows), _bypass(tmp_path, *rows)

    assert (first.added, second.unchanged) == (2, 2)
    assert list(BypassLog.objects.values_list("method", flat=True)) == ["logger", "counter_read"]
    assert Site.objects.get().stale_from == date(2026, 6, 1)


@pytest.mark.parametrize(
    ("row", "column", "expected"),
    [
        ("CB-14,A,2026-06-01,,,3,2,0,", "starts_bypassed", "at most 2"),
        ("CB-14,A,2026-06-01,,,1,2,2,", "starts_bypassed", "at most 2"),
        ("CB-14,A,2026-06-01,,,-1,2,0,", "starts_bypassed", "from 0"),
        ("CB-14,A,2026-06-01,,,1.5,2,0,", "starts_bypassed", "a whole number"),
        ("CB-14,A,2026-07-01,,,1,2,0,", "date", "no day after 2026-06-15"),
        ("CB-14,A,,2026-06-05,2026-06-05,1,2,0,", "end", "a day after 2026-06-05"),
        ("CB-14,A,2026-06-01,2026-06-02,2026-06-05,1,2,0,", "date", "either date, or start and end"),
        ("CB-14,A,,,,1,2,0,", "date", "either date, or start and end"),
        ("CB-14,A,2026-06-01,,,1,2,0,guess", "method", "logger"),
    ],
)
def test_a_bad_log_is_refused_by_name(
    controller: Controller, tmp_path: Path, row: str, column: str, expected: str
) -> None:
    problem = _problem(_bypass(tmp_path, row))

    assert f"row 2, column {column}" in problem
    assert expected in problem
    assert not BypassLog.objects.exists()


def test_a_log_of_a_controller_without_a_sensor_is_refused(tmp_path: Path) -> None:
    build_controller(build_site(), governed=False)

    assert "governed" in _problem(_bypass(tmp_path, "CB-14,A,2026-06-01,,,1,2,0,"))


def _also(report: ImportReport) -> list[tuple[int, str]]:
    """Refused rows with the rows that say the same."""
    return [(one.row, one.expected[one.expected.index("(") :]) for one in report.problems]


def test_logs_that_overlap_each_other_or_a_stored_one_are_refused(
    controller: Controller, tmp_path: Path
) -> None:
    _bypass(tmp_path, "CB-14,A,,2026-05-01,2026-05-08,2,7,0,counter_read")

    within = _bypass(tmp_path, "CB-14,A,2026-06-01,,,1,2,0,", "CB-14,A,2026-06-01,,,0,2,0,")
    stored = _bypass(tmp_path, "CB-14,A,2026-05-03,,,1,2,0,")

    assert _also(within) == [(2, "(also row 3)"), (3, "(also row 2)")]
    assert "2026-05-01 to 2026-05-08" in _problem(stored)
    assert BypassLog.objects.count() == 1


METER = "site,start,end,volume,unit,meter"


def _meter(folder: Path, *rows: str) -> ImportReport:
    return import_meter(path=_file(folder, "meter.csv", METER, *rows), today=DAY)


def test_volumes_are_kept_in_litres_with_what_was_given(controller: Controller, tmp_path: Path) -> None:
    _meter(tmp_path, "CB-14,2026-04-01,2026-05-01,2,kgal,", "CB-14,2026-05-01,2026-06-01,3,ccf,")

    litres = list(MeterVolume.objects.values_list("volume_l", flat=True))
    # 1 gal = 3.785411784 L, 1 ccf = 748.0519 gal (exact by definition of the inch).
    assert litres == [pytest.approx(7570.8236, abs=1e-3), pytest.approx(3 * 2831.6847, abs=1e-2)]


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("CB-14,2026-04-01,2026-05-01,2,firkin,", "unit"),
        ("CB-14,2026-05-01,2026-04-01,2,m3,", "end"),
        ("CB-14,2026-04-01,2026-05-01,-2,m3,", "volume"),
        ("CB-14,2026-06-01,2026-08-01,2,m3,", "end"),
        ("CB-14,2026-04-01,2026-05-01,nan,m3,", "volume"),
        ("XX-1,2026-04-01,2026-05-01,2,m3,", "site"),
    ],
)
def test_a_bad_volume_is_refused(controller: Controller, tmp_path: Path, row: str, column: str) -> None:
    assert f"row 2, column {column}" in _problem(_meter(tmp_path, row))
    assert not MeterVolume.objects.exists()


READINGS = "site,meter_id,read_at,reading,unit,digits,read_kind,event"


def _readings(folder: Path, *rows: str) -> ImportReport:
    return import_readings(path=_file(folder, "readings.csv", READINGS, *rows), now=NOW)


def test_a_naive_reading_is_site_local(controller: Controller, tmp_path: Path) -> None:
    _readings(tmp_path, "CB-14,W1,2026-06-01T09:00,120,m3,4,,")

    assert MeterReading.objects.get().read_at.isoformat() == "2026-06-01T15:00:00+00:00"


def test_a_register_falls_only_by_roll_over_swap_or_reset(controller: Controller, tmp_path: Path) -> None:
    falling = _readings(
        tmp_path, "CB-14,W1,2026-05-01T09:00,120,m3,,,", "CB-14,W1,2026-06-01T09:00,110,m3,,,"
    )
    rolled = _readings(
        tmp_path, "CB-14,W1,2026-05-01T09:00,9990,m3,4,,", "CB-14,W1,2026-06-01T09:00,15,m3,4,,"
    )

    assert "at least 120" in _problem(falling)
    assert rolled.written


@pytest.mark.parametrize(
    ("row", "column", "expected"),
    [
        (
            "CB-14,W1,2026-05-20T09:00,115,m3,,,",
            "reading",
            "at least 120 of the stored reading of 2026",
        ),
        ("CB-14,W1,2026-04-20T09:00,125,m3,,,", "reading", "at most 120 of the stored reading of 2026"),
        ("CB-14,W1,2026-05-20T09:00,125,kgal,,,", "unit", "m3, as the stored reading of 2026-05-01"),
    ],
)
def test_a_reading_agrees_with_the_stored_ones(
    controller: Controller, tmp_path: Path, row: str, column: str, expected: str
) -> None:
    stored = _readings(tmp_path, "CB-14,W1,2026-05-01T09:00,120,m3,,,")

    problem = _problem(_readings(tmp_path, row))

    assert stored.written
    assert f"row 2, column {column}" in problem
    assert expected in problem
    assert MeterReading.objects.get().reading == 120


def test_a_reading_may_fall_after_an_estimate(controller: Controller, tmp_path: Path) -> None:
    report = _readings(
        tmp_path, "CB-14,W1,2026-05-01T09:00,120,m3,,estimated,", "CB-14,W1,2026-06-01T09:00,110,m3,,actual,"
    )

    assert report.written


def test_one_register_has_one_unit_and_each_moment_once(controller: Controller, tmp_path: Path) -> None:
    units = _readings(
        tmp_path, "CB-14,W1,2026-05-01T09:00,120,m3,,,", "CB-14,W1,2026-06-01T09:00,130,kgal,,,"
    )
    twice = _readings(tmp_path, "CB-14,W1,2026-05-01T09:00,120,m3,,,", "CB-14,W1,2026-05-01T09:00,121,m3,,,")
    wide = _readings(tmp_path, "CB-14,W1,2026-05-01T09:00,12000,m3,4,,")

    assert "m3, as row 2" in _problem(units)
    assert _also(twice) == [(2, "(also row 3)"), (3, "(also row 2)")]
    assert "register of 4 digits" in _problem(wide)


cells = st.one_of(
    st.sampled_from(
        [
            "CB-14",
            "A",
            "1",
            "2026-06-01",
            "odd",
            "04:00",
            "=1+1",
            "",
            "nan",
            "1e999",
            "\u0000",
            "-1",
            "9" * 400,
        ]
    ),
    st.text(max_size=12),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.lists(cells, min_size=1, max_size=10), min_size=1, max_size=6))
def test_odd_rows_are_refused_or_read_but_never_break_the_import(
    controller: Controller, tmp_path: Path, rows: list[list[str]]
) -> None:
    lines = [",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows]
    importers = ((PROGRAMS, _programs), (BYPASS, _bypass), (METER, _meter), (READINGS, _readings))
    for header, importer in importers:
        before = ProgramLine.objects.count() + BypassLog.objects.count() + MeterVolume.objects.count()

        report = importer(tmp_path, *lines)

        if report.problems:
            after = ProgramLine.objects.count() + BypassLog.objects.count() + MeterVolume.objects.count()
            assert after == before, header
            assert all(problem.expected for problem in report.problems)
