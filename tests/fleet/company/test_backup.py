"""A backup holds the whole state, and restoring gives it back."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from fleet.models import Company, User, Visit
from fleet.services.company.backup import (
    DatabaseNotEmpty,
    NotABackup,
    restore_backup,
    state_models,
    write_backup,
)
from fleet.streets.store import network_path
from sites.models import BalanceMonth, Site
from tests.factories import DAY, build_controller, build_need, build_site, build_visit, build_zone

pytestmark = pytest.mark.django_db


def _everything() -> dict[str, list[tuple[object, ...]]]:
    """All rows of all tables, bytes made comparable."""
    return {
        model._meta.label_lower: [
            tuple(bytes(v) if isinstance(v, memoryview) else v for v in row)
            for row in model._base_manager.order_by("pk").values_list()
        ]
        for model in state_models()
    }


def test_restoring_into_an_empty_database_gives_every_row_back(
    company: Company, dispatcher: User, tmp_path: Path
) -> None:
    zone = build_zone(build_controller(build_site()))
    BalanceMonth.objects.create(
        zone=zone, month=DAY.replace(day=1), values=b"\x00\xff\x01", allowed_mm=9.0, available_mm=20.0
    )
    visit = build_visit(zone.controller.site)
    visit.needs.add(build_need(zone.controller.site))
    network_path(tmp_path).parent.mkdir()
    network_path(tmp_path).write_bytes(b"streets")
    before = _everything()

    write_backup(path=tmp_path / "state.zip", data_dir=tmp_path)
    for model in reversed(state_models()):
        model._base_manager.all().delete()
    restore_backup(path=tmp_path / "state.zip", data_dir=tmp_path / "new")

    assert _everything() == before
    assert network_path(tmp_path / "new").read_bytes() == b"streets"
    assert Visit.objects.get().needs.count() == 1


@pytest.mark.skipif(
    connection.vendor != "postgresql", reason="SQLite locks out others while a backup is read"
)
@pytest.mark.django_db(transaction=True)
def test_a_backup_shows_one_moment_whatever_is_written_meanwhile(company: Company, tmp_path: Path) -> None:
    written: list[str] = []

    def write_beside(execute: Any, sql: str, *rest: Any) -> Any:
        result = execute(sql, *rest)
        if not written and sql.startswith("SELECT"):
            written.append(sql)
            beside = connection.copy()
            with beside.cursor() as cursor:
                cursor.execute("update fleet_company set name = 'Other'")
            beside.close()
        return result

    with connection.execute_wrapper(write_beside):
        write_backup(path=tmp_path / "state.zip", data_dir=tmp_path)

    with zipfile.ZipFile(tmp_path / "state.zip") as archive:
        assert written
        assert b"Other" not in archive.read("tables/fleet.company.jsonl")
    assert Company.objects.get().name == "Other"


def test_a_backup_is_for_its_owner_alone_and_half_a_one_does_not_stay(
    company: Company, tmp_path: Path
) -> None:
    path = tmp_path / "state.zip"
    write_backup(path=path, data_dir=tmp_path / "none")
    assert path.stat().st_mode & 0o777 == 0o600
    whole = path.read_bytes()

    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE {state_models()[-1]._meta.db_table}")
    with pytest.raises(DatabaseError), transaction.atomic():
        write_backup(path=path, data_dir=tmp_path / "none")

    assert path.read_bytes() == whole
    assert [one.name for one in tmp_path.iterdir()] == ["state.zip"]


def test_a_database_that_holds_a_company_is_not_overwritten(company: Company, tmp_path: Path) -> None:
    write_backup(path=tmp_path / "state.zip", data_dir=tmp_path)

    with pytest.raises(DatabaseNotEmpty):
        restore_backup(path=tmp_path / "state.zip", data_dir=tmp_path)


def test_a_file_that_is_no_backup_is_refused_and_writes_nothing(tmp_path: Path) -> None:
    other = tmp_path / "other.zip"
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("readme.txt", "hello")

    with pytest.raises(NotABackup, match="expected a backup"):
        restore_backup(path=other, data_dir=tmp_path)
    assert not Site.objects.exists()
