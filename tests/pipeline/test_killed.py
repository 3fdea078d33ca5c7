"""A company of processes: web server, workers, broker, database. Work goes through, and outlives kill -9."""

from __future__ import annotations

import json
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from fleet.streets.store import network_path
from tests.pipeline.installation import Installation, wait_for
from tests.pipeline.kills import Kill, Nights, differences
from tests.pipeline.real_parts import company, on_servers, parts

pytestmark = on_servers


@pytest.fixture(scope="module")
def nights() -> Iterator[Nights]:
    """The calm night, and the means for others."""
    data = Path(tempfile.mkdtemp(prefix="rootround-nights."))
    try:
        with parts() as servers:
            yield Nights(servers, data)
    finally:
        shutil.rmtree(data)


def test_a_calm_night_does_all(nights: Nights) -> None:
    assert set(nights.calm.seconds) >= {"run_day", "update_balance", "plan_routes", "update_ledger"}
    assert nights.calm.rows["sites_recommendation"]


def test_a_dispatcher_plans_the_week_through_all_parts(nights: Nights) -> None:
    with company(nights.servers, nights.data, "planned") as here:
        here.serve()
        assert [here.status(path) for path in ("/health/", "/ready/", "/metrics")] == [200, 200, 200]
        for _ in range(2):
            here.worker()
        hana = here.sign_in("hana", nights.passwords["hana"])
        monday = here.rows("select demo_today from fleet_company")[0][0]
        plans = here.rows("select count(*) from fleet_planrun")[0][0]

        page = here.send(hana, "/week/plan/", week=monday.isoformat(), seconds=10)

        assert "being planned" in page.text
        query = "select state from fleet_planning order by id desc limit 1"
        wait_for(lambda: here.rows(query) == [("kept",)])
        assert here.rows("select count(*) from fleet_planrun") == [(plans + 1,)]
        assert hana.get(f"{here.url}/week/", timeout=60).status_code == 200
        nights.servers.kill_database()
        assert [here.status(path) for path in ("/health/", "/ready/")] == [200, 503]
        nights.servers.again()
        assert here.status("/ready/") == 200


@pytest.mark.parametrize("kind", ["postgres", "sqlite"])
def test_a_backup_comes_back_on_either_kind_of_database(nights: Nights, kind: str, tmp_path: Path) -> None:
    servers = nights.servers
    empty = (
        servers.copy("", "restored") if kind == "postgres" else f"sqlite:///{tmp_path / 'restored.sqlite3'}"
    )
    old = Installation(nights.data, servers.database("base"), servers.broker)
    new = Installation(tmp_path, empty, servers.broker)
    old.manage("backup", str(tmp_path / "old.zip"))

    new.manage("migrate", "--verbosity", "0")
    new.manage("restore", str(tmp_path / "old.zip"))
    new.manage("backup", str(tmp_path / "new.zip"))

    before, after = (_tables(tmp_path / name) for name in ("old.zip", "new.zip"))
    assert sum(map(len, before.values())) > 20_000
    assert [name for name in before if before[name] != after[name]] == []
    assert network_path(tmp_path).read_bytes() == network_path(nights.data).read_bytes()


def _tables(path: Path) -> dict[str, list[object]]:
    """Rows of a backup by table."""
    with zipfile.ZipFile(path) as archive:
        return {
            name: [json.loads(line) for line in archive.read(name).splitlines()]
            for name in archive.namelist()
            if name.startswith("tables/")
        }


@pytest.mark.parametrize(
    "kill",
    [
        Kill("worker", "update_balance", 0.0),
        Kill("worker", "weekly_round", 0.5),
        Kill("broker", "watch_sensors", 0.2),
        Kill("database", "raise_needs", 0.2),
        Kill("web", "plan_routes", 0.1),
    ],
    ids=str,
)
def test_a_night_that_is_struck_ends_like_the_calm_one(nights: Nights, kill: Kill) -> None:
    # A short stage may be over before it is held; such a night must end well too, and another is struck.
    for _ in range(4):
        struck = nights.night(kill)
        assert differences(nights.calm, struck) == {}
        assert struck.plans == nights.calm.plans
        if struck.was_hit:
            return
    pytest.fail(f"{kill}: the stage was over each time before it could be held")
