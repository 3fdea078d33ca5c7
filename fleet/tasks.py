"""Celery tasks: each fetches its run and calls one service."""

from __future__ import annotations

import logging
import socket
from datetime import date

from celery import shared_task
from django.conf import settings
from django.utils import timezone
from kombu.exceptions import OperationalError
from sqlalchemy.exc import SQLAlchemyError

from fleet.request_log import of_run
from fleet.selectors.company.company import company_day, company_hour, the_company
from fleet.services.bring.ask import revive_lost_brings
from fleet.services.bring.uploads import upload_folder
from fleet.services.company.accounts import throw_old_sessions
from fleet.services.company.audit import throw_old_audit
from fleet.services.plan.watched import revive_lost
from fleet.services.run_day import NIGHT, StageFailed, work_on
from fleet.services.stage_runs import ask_for_stage, runs_to_do, waiting_for, worker_seen

logger = logging.getLogger(__name__)


@shared_task(name="fleet.tasks.work_on_run")  # type: ignore[untyped-decorator]
def work_on_run(run_id: int) -> None:
    """Do one stage run, unless somebody else does it already."""
    with of_run(run_id):
        work_on(run_id=run_id, clock=timezone.now)
    # A night that found a stage in other hands goes on as soon as that is done.
    for night in waiting_for(run_id=run_id, stage=NIGHT):
        _send(night)


@shared_task(name="fleet.tasks.start_what_is_due")  # type: ignore[untyped-decorator]
def start_what_is_due() -> None:
    """Ask for the night's work once its hour has come; send each run that waits or lost its heartbeat."""
    now = timezone.now()
    company = the_company()
    if company is not None and not company.is_demo and company_hour(now=now) >= settings.NIGHTLY_HOUR:
        ask_for_stage(stage=NIGHT, scope="all", day=company_day(now=now), now=now)
    throw_old_audit(now=now, kept_days=settings.AUDIT_DAYS)
    revive_lost(now=now)
    revive_lost_brings(folder=upload_folder(), now=now)
    throw_old_sessions(now=now)
    for run_id in runs_to_do(now=now):
        _send(run_id)


@shared_task(name="fleet.tasks.tell_alive")  # type: ignore[untyped-decorator]
def tell_alive() -> None:
    """Tell that this worker is alive."""
    worker_seen(name=socket.gethostname(), now=timezone.now())


def queue_stage(*, stage: str, scope: str, day: date) -> int:
    """Ask for a stage anew and send it to the worker; the id of its run, to watch its progress by."""
    run = ask_for_stage(stage=stage, scope=scope, day=day, now=timezone.now(), again=True)
    _send(run.pk)
    return run.pk


def start_run(*, run_id: int, at_once: bool) -> None:
    """Have an asked-for run done: here where it is small, else by the worker. A failure stays in its row."""
    if not at_once:
        _send(run_id)
        return
    try:
        with of_run(run_id):
            work_on(run_id=run_id, clock=timezone.now)
    except StageFailed:
        logger.exception("run %s broke", run_id)


def _send(run_id: int) -> bool:
    """Send a run to the worker; without a broker it waits, and is sent once the broker is back."""
    try:
        work_on_run.apply_async((run_id,), retry=False)
    except (OperationalError, SQLAlchemyError, OSError):
        logger.exception("the broker cannot be reached: run %s waits", run_id)
        return False
    return True
