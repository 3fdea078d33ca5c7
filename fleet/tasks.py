"""Celery tasks: each fetches its run and calls one service."""

from __future__ import annotations

from datetime import date

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from fleet.selectors.company import company_day, company_hour, the_company
from fleet.services.run_day import NIGHT, work_on
from fleet.services.stage_runs import ask_for_stage, runs_to_do


@shared_task(name="fleet.tasks.work_on_run")  # type: ignore[untyped-decorator]
def work_on_run(run_id: int) -> None:
    """Do one stage run, unless somebody else does it already."""
    work_on(run_id=run_id, clock=timezone.now)


@shared_task(name="fleet.tasks.start_what_is_due")  # type: ignore[untyped-decorator]
def start_what_is_due() -> None:
    """Ask for the night's work once its hour has come; send each run that waits or lost its heartbeat."""
    now = timezone.now()
    company = the_company()
    if company is not None and not company.is_demo and company_hour(now=now) >= settings.NIGHTLY_HOUR:
        ask_for_stage(stage=NIGHT, scope="all", day=company_day(now=now), now=now)
    for run_id in runs_to_do(now=now):
        work_on_run.delay(run_id)


def queue_stage(*, stage: str, scope: str, day: date) -> int:
    """Ask for a stage anew and send it to the worker; the id of its run, to watch its progress by."""
    run = ask_for_stage(stage=stage, scope=scope, day=day, now=timezone.now(), again=True)
    work_on_run.delay(run.pk)
    return run.pk
