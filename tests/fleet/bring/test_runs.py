"""Files that are looked at and saved by the worker: waiting, watching, stopping, breaking, taking over."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from fleet.config.celery import app
from fleet.models import Company, StageRun, User
from fleet.services.bring import runs as bring_runs
from fleet.services.bring.ask import bring_state, revive_lost_brings
from fleet.services.bring.uploads import read_upload, upload_folder
from fleet.services.run_day import StageFailed, work_on
from fleet.services.stage_runs import claim_stage
from fleet.views import bring_parts
from sites.models import Change, Site
from tests.conftest import NOW
from tests.sites.importing.book_files import small_book

SignIn = Callable[[User], Client]
BOOK = json.dumps({"type": "FeatureCollection", "features": small_book()}).encode()


@pytest.fixture
def by_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every file counts as large."""
    monkeypatch.setattr(bring_parts, "AT_ONCE_BYTES", 0)


@pytest.fixture
def client(company: Company, dispatcher: User, sign_in: SignIn, by_worker: None) -> Client:
    return sign_in(dispatcher)


def send(client: Client, content: bytes = BOOK) -> str:
    answer = client.post("/bring/", {"file": SimpleUploadedFile("book.geojson", content)})
    return str(answer["Location"])


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def run_of(stage: str) -> StageRun:
    return StageRun.objects.get(stage=stage)


def work(stage: str) -> bool:
    return work_on(run_id=run_of(stage).pk, clock=lambda: NOW)


def test_a_large_file_waits_for_the_worker_and_its_page_survives_a_reload(client: Client) -> None:
    address = send(client)

    for _ in range(2):
        told = page(client, address)
        assert "being checked" in told
        assert "No worker has been heard of" in told
    assert client.get(f"{address}progress/").json()["state"] == "waiting"
    assert "being checked" in page(client, "/bring/")
    assert Site.objects.count() == 0

    assert work(bring_runs.LOOK)
    assert "Can this file go in as it is?" in page(client, address)
    assert client.get(f"{address}progress/").json()["open"] is False


def test_save_pressed_three_times_is_done_once(client: Client) -> None:
    address = send(client)
    work(bring_runs.LOOK)

    for _ in range(3):
        client.post(f"{address}save/")
    assert "being saved" in page(client, address)
    assert StageRun.objects.filter(stage=bring_runs.SAVE).count() == 1
    assert work(bring_runs.SAVE)
    assert not work(bring_runs.SAVE)
    kept = Change.objects.count()
    client.post(f"{address}save/")

    told = page(client, address)
    assert f"<b>{len(small_book())}</b> new" in told
    assert "Brought in lately" in page(client, "/bring/")
    assert run_of(bring_runs.SAVE).state == StageRun.State.DONE
    assert Change.objects.count() == kept == len(small_book())


def test_the_steps_are_told_while_it_works(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    address = send(client)
    seen: list[dict[str, Any]] = []
    tell = bring_runs._Telling.__call__

    def watched(self: Any, step: str, share: float) -> None:
        tell(self, step, share)
        seen.append(client.get(f"{address}progress/").json())

    monkeypatch.setattr(bring_runs._Telling, "__call__", watched)
    work(bring_runs.LOOK)
    client.post(f"{address}save/")
    work(bring_runs.SAVE)

    words = [one["words"] for one in seen]
    assert "Reading the file" in words
    assert "Writing: zone" in words
    assert all(one["state"] == "running" for one in seen)
    shares = [one["share"] for one in seen]
    turn = shares.index(0.0, 2)  # the save begins anew
    assert shares[1:turn] == sorted(shares[1:turn])
    assert shares[turn:] == sorted(shares[turn:])


def test_a_waiting_look_is_stopped_and_asked_for_again(client: Client) -> None:
    address = send(client)

    client.post(f"{address}stop/")

    assert "not checked" in page(client, address)
    assert not work(bring_runs.LOOK)
    client.post(f"{address}again/")
    assert work(bring_runs.LOOK)
    assert "Can this file go in as it is?" in page(client, address)


def test_a_save_at_work_stops_at_its_next_step_and_nothing_is_written(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = send(client)
    work(bring_runs.LOOK)
    client.post(f"{address}save/")
    tell = bring_runs._Telling.__call__

    def pressed(self: Any, step: str, share: float) -> None:
        tell(self, step, share)
        if step == "writing: controller":
            assert (
                "stops before its next step" in client.post(f"{address}stop/", follow=True).content.decode()
            )

    monkeypatch.setattr(bring_runs._Telling, "__call__", pressed)
    work(bring_runs.SAVE)

    assert Site.objects.count() == Change.objects.count() == 0
    assert "Saving was stopped. Nothing was written." in page(client, address)
    monkeypatch.setattr(bring_runs._Telling, "__call__", tell)
    client.post(f"{address}save/")
    work(bring_runs.SAVE)
    assert Change.objects.count() == len(small_book())


def test_a_file_that_is_being_saved_is_not_thrown_away(client: Client) -> None:
    address = send(client)
    work(bring_runs.LOOK)
    client.post(f"{address}save/")
    claim_stage(run_id=run_of(bring_runs.SAVE).pk, now=NOW)

    told = client.post(f"{address}throw/", follow=True).content.decode()

    assert "It stops now; throw it away once it has." in told
    assert "Stopping; nothing is written." in told


def test_a_worker_that_lost_its_run_writes_nothing(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    address = send(client)
    work(bring_runs.LOOK)
    client.post(f"{address}save/")
    run, tell = run_of(bring_runs.SAVE), bring_runs._Telling.__call__

    def overtaken(self: Any, step: str, share: float) -> None:
        tell(self, step, share)
        if step == "writing: site":
            StageRun.objects.filter(pk=run.pk).update(attempt=2)

    monkeypatch.setattr(bring_runs._Telling, "__call__", overtaken)
    work(bring_runs.SAVE)

    assert Site.objects.count() == 0


def test_a_lost_worker_is_told_of_and_its_run_waits_anew(client: Client) -> None:
    address = send(client)
    run = run_of(bring_runs.LOOK)
    claim_stage(run_id=run.pk, now=run.asked_at)
    folder, key = upload_folder(), address.split("/")[2]
    upload = read_upload(folder=folder, key=key)
    assert upload is not None

    soon, late = run.asked_at + timedelta(seconds=90), run.asked_at + timedelta(minutes=3)
    assert not bring_state(folder=folder, upload=upload, now=soon).is_silent
    assert revive_lost_brings(folder=folder, now=soon) == 0
    assert bring_state(folder=folder, upload=upload, now=late).is_silent
    assert revive_lost_brings(folder=folder, now=late) == 1
    assert work(bring_runs.LOOK)


def test_work_that_breaks_says_so_and_is_tried_again(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    address = send(client)

    def broken(**_: object) -> None:
        raise OSError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(bring_runs, "look_at_file", broken)
        with pytest.raises(StageFailed):
            work(bring_runs.LOOK)

    told = page(client, address)
    assert "broke off" in told
    assert "OSError: the disk is full" in told
    assert "Nothing of the file was written" in told
    client.post(f"{address}again/")
    assert work(bring_runs.LOOK)
    assert "Can this file go in as it is?" in page(client, address)


def test_small_files_and_eager_tasks_need_no_worker(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    app.conf.task_always_eager = True
    try:
        large = send(client)
        assert "Can this file go in as it is?" in page(client, large)
        client.post(f"{large}save/")
        assert Site.objects.count() == 2
    finally:
        app.conf.task_always_eager = False

    monkeypatch.setattr(bring_parts, "AT_ONCE_BYTES", 10_000_000)
    small = send(client)
    assert "<b>0</b> new" in page(client, small)


def test_a_large_files_answer_stays_when_the_book_changes_and_says_so(client: Client) -> None:
    first, second = send(client), send(client)
    for run in StageRun.objects.filter(stage=bring_runs.LOOK):
        work_on(run_id=run.pk, clock=lambda: NOW)
    client.post(f"{first}save/")
    work(bring_runs.SAVE)

    told = page(client, second)

    assert "has changed since this file was checked" in told
    assert f"<b>{len(small_book())}</b> new" in told
    client.post(f"{second}again/")
    for run in StageRun.objects.filter(stage=bring_runs.LOOK):
        work_on(run_id=run.pk, clock=lambda: NOW)
    assert "<b>0</b> new" in page(client, second)
