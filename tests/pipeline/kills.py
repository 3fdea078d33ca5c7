"""A night that is struck by kill -9, and what it must have written in the end."""

from __future__ import annotations

import os
import signal
import time
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg
import requests
from psycopg.sql import SQL, Identifier

from tests.pipeline.installation import Installation, came, kill_group, wait_for
from tests.pipeline.real_parts import Company, Parts, build_base, company

WORKERS = 2
VICTIMS = ("worker", "web", "broker", "database")
STAGES = ("update_balance", "weekly_round", "watch_sensors", "raise_needs", "plan_routes", "update_ledger")
# Diaries, and what a search that is bounded in time finds: that is held by laws instead.
DIARIES = frozenset(
    {"fleet_stagerun", "fleet_planning", "fleet_auditentry", "fleet_devicetoken", "sites_meterreading"}
)
PLANS = frozenset({"fleet_planrun", "fleet_route", "fleet_stop", "fleet_visit", "fleet_visit_needs"})
SEARCHED = {"fleet_visitneed": frozenset({"state", "unserved", "visit_id", "decided_at"})}
ASK = """
from datetime import timedelta
from fleet.models import Company
from fleet.services.run_day import NIGHT
from fleet.tasks import queue_stage
queue_stage(stage=NIGHT, scope='all', day=Company.objects.get().demo_today + timedelta(days=1))
"""
# What the schedule does every five minutes.
SWEEP = """
from fleet.tasks import start_what_is_due
start_what_is_due()
"""
# Time passes for hearts that stopped when the kill came; those of the living would have beaten on.
PASS_TIME = """
from datetime import datetime, timedelta
from django.db.models import F
from fleet.models import Planning, StageRun
struck = datetime.fromisoformat('STRUCK')
for kind in (StageRun, Planning):
    stopped = kind.objects.filter(state='running', heartbeat_at__lt=struck)
    stopped.update(heartbeat_at=F('heartbeat_at') - kind.HEARTBEAT_LOST_AFTER - timedelta(seconds=1))
"""
TOKEN = """
from django.utils import timezone
from fleet.services.company.device_tokens import create_device_token
made = create_device_token(name='log', kinds=['readings'], site_codes=[], by='hana', at=timezone.now())
print(made.secret)
"""
OF_THE_NIGHT = "from fleet_stagerun where day > (select demo_today from fleet_company)"
A_METER = (
    "select s.code, m.code, m.kind from sites_meter m join sites_site s on s.id = m.site_id "
    "where m.code <> '' order by m.id limit 1"
)
LAWS = {
    "a visit with two stops": (
        "select visit_id from fleet_stop where not is_break group by visit_id having count(*) > 1"
    ),
    "a need in two visits": (
        "select n.visitneed_id from fleet_visit_needs n join fleet_stop s on s.visit_id = n.visit_id "
        "group by n.visitneed_id having count(*) > 1"
    ),
    "a stage that is not done": "select stage from fleet_stagerun where state <> 'done'",
    "a planning that never ended": "select id from fleet_planning where state in ('asked', 'running')",
}


@dataclass(frozen=True)
class Kill:
    """Who is killed, in which stage, and after which share of its usual time."""

    victim: str
    stage: str
    share: float

    def __str__(self) -> str:
        return f"{self.victim} in {self.stage} at {self.share:.0%}"


@dataclass(frozen=True)
class Night:
    """What a night left behind.

    Parameters
    ----------
    rows
        By table: how often each row stands there, without keys that were drawn and moments.
    seconds
        Time by stage.
    plans
        How many plans were made; what is in them a search in bounded time does not repeat.
    was_hit
        Whether the stage was running when the kill came.
    recovery_s
        From the kill to the end of the night.
    """

    rows: dict[str, Counter[tuple[Any, ...]]]
    seconds: dict[str, float]
    plans: int
    was_hit: bool
    recovery_s: float


class Nights:
    """The same night again and again, from one base."""

    def __init__(self, servers: Parts, data: Path) -> None:
        self.servers, self.data = servers, data
        self.passwords = build_base(servers, data)
        self.token = Installation(data, servers.database("base"), servers.broker).shell(TOKEN).strip()
        with psycopg.connect(servers.database("base")) as base:
            self.highest = _highest_keys(base)
        self.calm = self.night(None)

    def night(self, kill: Kill | None) -> Night:
        """One night, struck or calm."""
        with company(self.servers, self.data, "struck") as here:
            workers = [here.worker() for _ in range(WORKERS)]
            if kill is not None and kill.victim == "web":
                here.serve()
            # Beside, since the night may be well on its way before this process has ended.
            here.process(["manage.py", "shell", "--no-imports", "-c", ASK])
            was_hit, began = True, time.monotonic()
            if kill is not None:
                was_hit = _hold_in_stage(here, kill, self.calm.seconds, workers)
                _strike(here, kill, workers, self.servers, self.token)
                began = time.monotonic()
                _recover(here, kill)
            else:
                wait_for(lambda: _is_over(here), 300)
            recovery_s = time.monotonic() - began
            broken = {law: here.rows(query) for law, query in LAWS.items() if here.rows(query)}
            assert not broken, f"found {broken}"
            with psycopg.connect(here.database) as server:
                return Night(
                    _contents(server, self.highest),
                    _seconds(server),
                    _number(server, "count(*)", "fleet_planrun"),
                    was_hit,
                    recovery_s,
                )


def _hold_in_stage(here: Company, kill: Kill, usual_s: dict[str, float], workers: list[Any]) -> bool:
    """Hold the workers in the middle of the stage; whether it was still under way then."""
    query = f"select 1 {OF_THE_NIGHT} and stage = %s and state = 'running'".encode()
    with psycopg.connect(here.database, autocommit=True) as server:
        until = time.monotonic() + 300
        while not server.execute(query, [kill.stage]).fetchone():
            if time.monotonic() > until:
                raise AssertionError(f"{kill.stage} did not begin")
            time.sleep(0.002)
        time.sleep(usual_s[kill.stage] * kill.share)
        for worker in workers:
            os.killpg(worker.pid, signal.SIGSTOP)
        return server.execute(query, [kill.stage]).fetchone() is not None


def _strike(here: Company, kill: Kill, workers: list[Any], servers: Parts, token: str) -> None:
    """Kill the victim and start it anew."""
    if kill.victim == "worker":
        for worker in workers:
            kill_group(worker)
        for _ in workers:
            here.worker()
        return
    if kill.victim == "web":
        _strike_web(here, token)
    elif kill.victim == "broker":
        servers.kill_broker()
        servers.again()
    else:
        servers.kill_database()
        servers.again()
    for worker in workers:
        os.killpg(worker.pid, signal.SIGCONT)


def _strike_web(here: Company, token: str) -> None:
    """Kill the web server while a device sends: what was answered stands, what is sent again stands once."""
    before, bodies = _readings(here), _bodies(here)
    answered = 0
    for number, body in enumerate(bodies):
        if number == 5:
            here.kill_server()
        answered += _send(here, token, body) == 200
    found = _readings(here) - before
    assert 0 < answered == found, f"{answered} were answered, {found} stand there"
    here.serve()
    codes = {_send(here, token, body) for body in bodies}
    found = _readings(here) - before
    assert codes == {200}, f"answered {codes}"
    assert found == len(bodies), f"{found} stand there"


def _bodies(here: Company) -> list[dict[str, Any]]:
    """Calls of a device: a reading each, all after the night's day."""
    site, meter, kind = here.rows(A_METER)[0]
    one = {"site": site, "meter_id": meter, "meter": kind, "unit": "m3"}
    return [
        {"entries": [{**one, "read_at": f"2026-09-{day:02d}T08:00", "reading": 90_000.0 + day}]}
        for day in range(1, 11)
    ]


def _send(here: Company, token: str, body: object) -> int:
    header = {"Authorization": f"Bearer {token}"}
    try:
        return requests.post(
            f"{here.url}/api/v1/meter-readings", json=body, headers=header, timeout=60
        ).status_code
    except requests.RequestException:
        return 0


def _recover(here: Company, kill: Kill) -> None:
    """Let the schedule sweep until the night is over."""
    time_passes = ""
    if kill.victim in ("worker", "database"):
        time_passes = PASS_TIME.replace("STRUCK", datetime.now(UTC).isoformat())
    for _ in range(20):
        here.shell(time_passes + SWEEP)
        if came(lambda: _is_over(here), 30):
            return
    rows = here.rows("select stage, state, attempt, error from fleet_stagerun")
    raise AssertionError(f"the night did not end: {rows}")


def _is_over(here: Company) -> bool:
    return here.rows(f"select state {OF_THE_NIGHT} and stage = 'run_day'") == [("done",)]


def _readings(here: Company) -> int:
    return int(here.rows("select count(*) from sites_meterreading")[0][0])


def _tables(server: psycopg.Connection[Any]) -> list[str]:
    """Names of our tables."""
    query = b"select table_name from information_schema.tables where table_schema = 'public' order by 1"
    names = [str(name) for (name,) in server.execute(query)]
    return [name for name in names if name.partition("_")[0] in ("fleet", "sites", "weather")]


def _highest_keys(base: psycopg.Connection[Any]) -> dict[str, int]:
    """Largest key of each table before the night."""
    return {name: _number(base, "coalesce(max(id), 0)", name) for name in _tables(base)}


def _number(server: psycopg.Connection[Any], what: str, table: str) -> int:
    row = server.execute(SQL(f"select {what} from {{}}").format(Identifier(table))).fetchone()  # noqa: S608
    return int(row[0]) if row else 0


def _contents(
    server: psycopg.Connection[Any], highest: dict[str, int]
) -> dict[str, Counter[tuple[Any, ...]]]:
    """Rows of each table as they can be compared: keys drawn in the night and moments say nothing."""
    points_to = _points_to(server)
    found = {}
    for table in _tables(server):
        if table in DIARIES | PLANS:
            continue
        cursor = server.execute(SQL("select * from {}").format(Identifier(table)))
        names = [column.name for column in cursor.description or ()]
        shown = [name for name in names if name != "id" and name not in SEARCHED.get(table, ())]

        def plain(row: dict[str, Any], table: str = table, shown: list[str] = shown) -> tuple[Any, ...]:
            return tuple(_plain(row[name], highest.get(points_to.get((table, name), ""))) for name in shown)

        found[table] = Counter(plain(dict(zip(names, row, strict=True))) for row in cursor)
    return found


def _plain(value: Any, highest: int | None) -> Any:
    if highest is not None and value is not None and value > highest:
        return "new"
    if hasattr(value, "tzinfo"):
        return "moment"
    return value if isinstance(value, (str, bytes, int, float, type(None))) else repr(value)


def _points_to(server: psycopg.Connection[Any]) -> dict[tuple[str, str], str]:
    """Table that a column points to."""
    query = (
        "select k.table_name, k.column_name, c.table_name from information_schema.key_column_usage k "
        "join information_schema.referential_constraints r on r.constraint_name = k.constraint_name "
        "join information_schema.constraint_column_usage c on c.constraint_name = r.constraint_name"
    )
    return {(table, column): target for table, column, target in server.execute(query)}


def _seconds(server: psycopg.Connection[Any]) -> dict[str, float]:
    """How long each stage of the night took [s]."""
    took = server.execute(f"select stage, finished_at - started_at {OF_THE_NIGHT}".encode()).fetchall()
    return {stage: span.total_seconds() for stage, span in took}


def differences(calm: Night, struck: Night) -> dict[str, tuple[list[Any], list[Any]]]:
    """By table, up to three rows that were lost and three that are too many."""
    found = {}
    for table, rows in calm.rows.items():
        other = struck.rows[table]
        if rows != other:
            found[table] = (list((rows - other).elements())[:3], list((other - rows).elements())[:3])
    return found
