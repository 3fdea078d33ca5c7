"""The pull in batches: sources that are down, workers that are killed, a broker that is gone."""

from __future__ import annotations

import os
import signal
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fleet.models import Company, StageRun
from fleet.services.run_day import run_day, work_on
from fleet.services.stage_runs import ask_for_stage, runs_to_do
from sites.models import Site
from tests.factories import build_site
from tests.pipeline.installation import Installation, came, installation, wait_for
from tests.weather.sources.service import Reply, Service, reply, served
from weather.models import DailyWeather, Location
from weather.sources import registry
from weather.sources.client import Patience
from weather.sources.nasa_power import VARIABLES

POWER = "/api/temporal/daily/point"
TODAY = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 9, tzinfo=UTC)


def power(today: date = TODAY, days: int = 20, **options: Any) -> Reply:
    """An invented answer of the grid service up to yesterday."""
    table: dict[str, dict[str, float]] = {name: {} for name in VARIABLES}
    for back in range(1, days + 1):
        day = today - timedelta(days=back)
        step = day.toordinal()
        values = (11.0 + step % 7 / 3, 27.0 + step % 5 / 2, 7.0, 2.0 + step % 3 / 9, 26.0 + step % 4 / 3, 0.0)
        for name, value in zip(VARIABLES, values, strict=True):
            table[name][f"{day:%Y%m%d}"] = round(value, 2)
    return reply(
        {
            "geometry": {"coordinates": [-104.7, 41.2, 1500.0]},
            "header": {"fill_value": -999.0, "time_standard": "LST"},
            "properties": {"parameter": table},
            "parameters": {name: {"units": unit} for name, (_, unit) in VARIABLES.items()},
        },
        **options,
    )


@pytest.fixture
def service(settings: Any) -> Iterator[Service]:
    with served() as one:
        settings.SOURCE_URLS = {"nasa_power": one.url}
        settings.WEATHER_SOURCES = ["nasa_power"]
        settings.WEATHER_BATCH = 2
        yield one


@pytest.fixture
def four_cells(db: None) -> Company:
    """A real company with sites in four cells of the grid."""
    for number in range(4):
        build_site(f"CB-{number}", latitude=41.0 + number / 5, longitude=-104.7)
    return Company.objects.create(pk=1, name="Marlow & Finch Garden Water", timezone="UTC")


def pull(day: date = TODAY, *, retry: bool = False) -> StageRun:
    run = ask_for_stage(stage="pull_weather", scope="all", day=day, now=NOW, again=not retry)
    work_on(run_id=run.pk, clock=lambda: NOW)
    run.refresh_from_db()
    return run


def asked(service: Service) -> Counter[str]:
    return Counter(question["latitude"][0] for _, question in service.asked)


def test_each_batch_is_a_run_of_its_own(service: Service, four_cells: Company) -> None:
    service.play(POWER, power())

    run = pull()

    batches = StageRun.objects.filter(stage="weather_batch").order_by("scope")
    assert [(batch.scope, batch.state) for batch in batches] == [
        ("41.0,-104.7 +1", "done"),
        ("41.4,-104.7 +1", "done"),
    ]
    assert batches[0].summary == "nasa_power: 40 new, 0 revised"
    assert run.summary.startswith("Weather: 80 days added")
    assert asked(service) == {"41.0000": 1, "41.2000": 1, "41.4000": 1, "41.6000": 1}


def test_a_retry_leaves_finished_batches_alone(service: Service, four_cells: Company) -> None:
    service.play(POWER, power())
    pull()
    StageRun.objects.filter(scope="41.4,-104.7 +1").update(state="waiting")
    StageRun.objects.filter(stage="pull_weather").update(state="waiting", attempt=1)

    pull(retry=True)

    assert asked(service) == {"41.0000": 1, "41.2000": 1, "41.4000": 2, "41.6000": 2}
    assert DailyWeather.objects.count() == 80


def test_a_pull_that_is_asked_for_anew_asks_for_all(service: Service, four_cells: Company) -> None:
    service.play(POWER, power())
    pull()

    pull()

    assert set(asked(service).values()) == {2}


def test_a_batch_whose_source_is_down_waits_and_the_day_goes_on(
    service: Service, four_cells: Company, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(registry, "PATIENCE", Patience(tries=1))
    service.play(POWER, power(), power(), reply("down", 503))

    run = pull()

    assert run.state == "done"
    assert run.summary.endswith("1 of 2 batches are tried again. 2 sites without weather.")
    late = StageRun.objects.get(scope="41.4,-104.7 +1")
    assert late.state == "failed"
    assert "nasa_power: 41.4,-104.7: " in late.error
    assert "HTTP 503" in late.error
    assert runs_to_do(now=NOW) == [late.pk]

    service.play(POWER, power())
    work_on(run_id=late.pk, clock=lambda: NOW)

    late.refresh_from_db()
    assert (late.state, late.error) == ("done", "")
    assert not Site.objects.filter(location=None).exists()
    assert Location.objects.filter(newest_day=TODAY - timedelta(days=1)).count() == 4


def test_a_month_without_the_source_leaves_no_hole(
    service: Service, four_cells: Company, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(registry, "PATIENCE", Patience(tries=1))
    service.play(POWER, power())
    pull()
    back = TODAY + timedelta(days=30)
    service.play(POWER, power(back, days=60))
    before = len(service.asked)

    pull(back)

    starts = {question["start"][0] for _, question in service.asked[before:]}
    assert starts == {f"{TODAY - timedelta(days=1 + 7):%Y%m%d}"}
    rows = DailyWeather.objects.filter(location__name="41.0,-104.7")
    assert set(rows.values_list("source", flat=True)) == {"nasa_power"}
    assert rows.count() == rows.values("day").distinct().count() == 20 + 30


def test_a_stage_that_broke_names_itself(service: Service, four_cells: Company) -> None:
    service.play(POWER, power())

    lines = run_day(day=TODAY, clock=lambda: NOW)

    assert next(lines).startswith("pull_weather: Weather: 80 days added")


# A real worker, killed


@contextmanager
def asking(data: Path, url: str) -> Iterator[Installation]:
    """An installation that asks the service at an address, two points at once."""
    with installation(data) as here:
        here.env |= {
            "ROOTROUND_NASA_POWER_URL": url,
            "ROOTROUND_WEATHER_SOURCES": "nasa_power",
            "ROOTROUND_WEATHER_BATCH": "2",
        }
        yield here


MAKE = """
from django.core.management import call_command
call_command('migrate', verbosity=0)
from fleet.models import Company
from sites.models import Site
from tests.factories import build_site
Company.objects.create(pk=1, name='M', timezone='UTC')
for n in range(4):
    build_site(f'CB-{n}', latitude=41.0 + n / 5, longitude=-104.7)
"""
ASK = """
from datetime import date
from fleet.tasks import queue_stage
queue_stage(stage='pull_weather', scope='all', day=date(2026, 6, 15))
"""
# Half an hour later, as the sweeper sees it: what was begun has lost its heartbeat.
SWEEP = """
from datetime import timedelta
from django.db.models import F
from fleet.models import StageRun
from fleet.tasks import start_what_is_due
StageRun.objects.update(heartbeat_at=F('heartbeat_at') - timedelta(minutes=31))
start_what_is_due()
"""


DONE = (
    "select count(*) from fleet_stagerun where state = 'done' and stage in ('pull_weather', 'weather_batch')"
)


SEND = "from fleet.tasks import start_what_is_due; start_what_is_due()"
STATE = "select state from fleet_stagerun where stage = 'pull_weather'"


def test_without_a_broker_the_run_waits_and_is_done_once_it_is_back(tmp_path: Path) -> None:
    with served() as service, asking(tmp_path, service.url) as here:
        here.shell(MAKE)
        service.play(POWER, power())
        broker = here.env["CELERY_BROKER_URL"]
        here.env["CELERY_BROKER_URL"] = f"sqla+sqlite:///{tmp_path}/gone/broker"
        here.shell(ASK)
        here.shell(SWEEP)
        assert here.rows(STATE) == [("waiting",)]

        here.env["CELERY_BROKER_URL"] = broker
        here.worker()
        # As the schedule does every five minutes: a send that meets a broker just being made waits.
        for _ in range(4):
            here.shell(SEND)
            if came(lambda: here.rows(STATE) == [("done",)], 40.0):
                break
        assert here.rows(STATE) == [("done",)]

        assert set(asked(service).values()) == {1}


def test_a_worker_killed_in_a_batch_loses_and_doubles_nothing(tmp_path: Path) -> None:
    with served() as service, asking(tmp_path, service.url) as here:
        here.shell(MAKE)
        service.play(POWER, power(), power(), power(), power(pause_s=20.0))
        here.shell(ASK)
        first = here.worker()
        wait_for(lambda: len(service.asked) == 4)
        os.killpg(first.pid, signal.SIGKILL)
        first.wait(timeout=30)
        assert here.rows("select count(*) from weather_dailyweather where source = 'nasa_power'") == [(40,)]
        service.play(POWER, power())

        here.worker()
        here.shell(SWEEP)
        wait_for(lambda: here.rows(DONE) == [(3,)])

        # The first batch was asked for once; of the second both points, for neither was stored.
        assert asked(service) == {"41.0000": 1, "41.2000": 1, "41.4000": 2, "41.6000": 2}
        days = here.rows(
            "select count(*), count(distinct location_id || ' ' || day) from weather_dailyweather"
        )
        assert days == [(80, 80)]
        assert here.rows("select attempt from fleet_stagerun where stage = 'pull_weather'") == [(2,)]
