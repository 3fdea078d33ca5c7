"""What the operations page, the probes and the metrics tell."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.models import Company, StageRun, User
from fleet.services.stage_runs import MOST_ATTEMPTS, runs_to_do, worker_seen
from tests.conftest import DAY
from tests.factories import build_location, build_site
from tests.weather.test_selectors import build_day

SignIn = Callable[[User], Client]
pytestmark = pytest.mark.django_db
SAMPLE = re.compile(r'[a-z_]+(\{[a-z_]+="(?:[^"\\]|\\.)*"\})? -?[0-9.e+]+\Z')


@pytest.fixture
def administrator(db: None) -> User:
    """Leah keeps the installation."""
    return User.objects.create_user("leah", password="garden-water-42", role=User.Role.ADMINISTRATOR)


@pytest.fixture
def broken(company: Company) -> StageRun:
    """A run that broke five times, and one that took 12 s."""
    now = timezone.now()
    StageRun.objects.create(
        stage="ledger", day=DAY, state="done", asked_at=now, started_at=now - timedelta(seconds=12),
        finished_at=now, summary="240 sites",
    )  # fmt: skip
    return StageRun.objects.create(
        stage="watch",
        day=DAY,
        state="failed",
        asked_at=now,
        attempt=MOST_ATTEMPTS,
        error="the <disk> is full",
    )


def test_the_page_names_what_broke_and_asks_for_it_anew(
    sign_in: SignIn, administrator: User, broken: StageRun
) -> None:
    client = sign_in(administrator)
    page = client.get(reverse("fleet:operations")).content.decode()
    assert "the &lt;disk&gt; is full" in page
    assert "12.0" in page
    assert "No worker" in page

    client.post(reverse("fleet:run-retry", args=[broken.pk]))

    broken.refresh_from_db()
    assert (broken.state, broken.attempt, broken.error) == ("waiting", 0, "")
    assert "nobody works on them" in client.get(reverse("fleet:operations")).content.decode()
    client.post(reverse("fleet:run-retry", args=[broken.pk]))
    assert StageRun.objects.get(pk=broken.pk).asked_at == broken.asked_at


def test_a_worker_is_alive_for_five_minutes_and_is_no_work(
    sign_in: SignIn, administrator: User, company: Company
) -> None:
    now = timezone.now()
    worker_seen(name="north", now=now)
    worker_seen(name="north", now=now)
    worker_seen(name="south", now=now - timedelta(minutes=6))

    page = sign_in(administrator).get(reverse("fleet:operations")).content.decode()

    assert "<b>1 worker</b>" in page
    assert "silent" in page
    assert runs_to_do(now=now) == []
    assert StageRun.objects.filter(scope="north").count() == 1


def test_weather_is_as_old_as_the_location_that_lags(
    sign_in: SignIn, administrator: User, company: Company
) -> None:
    for name, days in (("a", 1), ("b", 9)):
        build_day(build_location(name), DAY - timedelta(days=days))
    build_site(imported_on=DAY)

    page = sign_in(administrator).get(reverse("fleet:operations")).content.decode()

    row = page[page.index("Weather, location that lags most") :][:200]
    assert re.findall(r'class="num">(\d+)<', row)[:2] == ["2", "9"]


def test_a_process_tells_that_it_lives_and_whether_it_can_serve(
    client: Client, company: Company, settings: Any, tmp_path: Path
) -> None:
    assert client.get("/health/").json() == {"status": "ok"}
    assert client.get("/ready/").json()["status"] == "ok"
    settings.DATA_DIR = tmp_path / "gone"

    answer = client.get("/ready/")

    assert answer.status_code == 503
    assert answer.json()["data folder"] == "failed"


def test_metrics_are_open_metrics_text(client: Client, broken: StageRun) -> None:
    worker_seen(name="north", now=timezone.now())
    answer = client.get("/metrics")

    assert answer["Content-Type"].startswith("application/openmetrics-text; version=1.0.0")
    lines = answer.content.decode().split("\n")
    assert lines[-2:] == ["# EOF", ""]
    samples = [line for line in lines[:-2] if not line.startswith("# ")]
    assert [line for line in samples if not SAMPLE.match(line)] == []
    assert 'rootround_stage_runs{state="failed"} 1' in samples
    assert 'rootround_stage_last_seconds{stage="ledger"} 12' in samples
    assert "rootround_workers_alive 1" in samples


def test_metrics_are_given_to_this_machine_or_by_the_token(
    client: Client, company: Company, settings: Any
) -> None:
    assert client.get("/metrics", REMOTE_ADDR="203.0.113.9").status_code == 403
    assert client.get("/metrics", headers={"X-Forwarded-For": "203.0.113.9"}).status_code == 403
    settings.METRICS_TOKEN = "a-long-token"
    assert client.get("/metrics").status_code == 403
    wrong = {"Authorization": "Bearer another"}
    assert client.get("/metrics", headers=wrong, REMOTE_ADDR="203.0.113.9").status_code == 403
    right = {"Authorization": "Bearer a-long-token"}
    assert client.get("/metrics", headers=right, REMOTE_ADDR="203.0.113.9").status_code == 200
