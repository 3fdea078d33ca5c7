"""The day's work: the only module that knows the order of the stages."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Final

from fleet.calc.plan.workdays import monday_of
from fleet.models import StageRun
from fleet.selectors.ledger.prices import water_price_per_m3
from fleet.services.bring.runs import LOOK, SAVE, look_in_run, save_in_run
from fleet.services.heart import beating
from fleet.services.ledger.leaks import update_leaks
from fleet.services.ledger.record import update_ledger
from fleet.services.plan.plan_routes import company_settings, plan_routes
from fleet.services.plan.watched import AlreadyPlanning, PlanningStopped
from fleet.services.stage_context import Clock, StageContext
from fleet.services.stage_runs import (
    ask_for_stage,
    beat,
    claim_stage,
    fail_stage,
    finish_stage,
    is_given_up,
    put_back,
)
from fleet.services.visits.raise_needs import raise_needs
from fleet.services.watch.sensors import watch_sensors
from fleet.services.weather_batches import BATCH, pull_in_batches, pull_one_batch
from sites.services.balance import update_balance
from sites.services.locations import assign_locations
from sites.services.weekly_round import weekly_round

NIGHT: Final = "run_day"


class StageFailed(RuntimeError):
    """A stage broke; the message names it, and the run keeps the reason."""


class StageBusy(StageFailed):
    """Another worker is on a stage; the later ones wait for what it brings."""


def _locations(context: StageContext) -> str:
    del context
    return assign_locations().summary()


def _balance(context: StageContext) -> str:
    update = update_balance(until_day=context.day - timedelta(days=1))
    lacking = f"; no weather for {len(update.without_weather)} sites" if update.without_weather else ""
    return f"{update.sites} sites, {update.zone_days} zone-days{lacking}"


def _weekly_round(context: StageContext) -> str:
    price = water_price_per_m3(day=context.day)
    return weekly_round(week=monday_of(context.day), today=context.day, price_per_m3=price).summary()


def _watch(context: StageContext) -> str:
    return watch_sensors(as_of=context.day - timedelta(days=1)).summary()


def _needs(context: StageContext) -> str:
    leaks = update_leaks(day=context.day)
    return f"{raise_needs(day=context.day).summary()}; {leaks.summary()}"


def _routes(context: StageContext) -> str:
    week = date.fromisoformat(context.scope) if context.scope != "all" else monday_of(context.day)
    seconds = company_settings().planning_s if context.planning_s is None else context.planning_s
    try:
        done = plan_routes(
            now=context.now, week=week, seconds=seconds, seed=context.seed, run_id=context.run_id
        )
    except (AlreadyPlanning, PlanningStopped) as left:
        return f"nothing written: {left}"
    return done.summary()


def _ledger(context: StageContext) -> str:
    return update_ledger(until_day=context.day - timedelta(days=1)).summary()


STAGES: Final[dict[str, Callable[[StageContext], str]]] = {
    "pull_weather": pull_in_batches,
    "assign_locations": _locations,
    "update_balance": _balance,
    "weekly_round": _weekly_round,
    "watch_sensors": _watch,
    "raise_needs": _needs,
    "plan_routes": _routes,
    "update_ledger": _ledger,
}


# What a worker does besides the night's stages: parts of one, and files that people bring.
PARTS: Final[dict[str, Callable[[StageContext], str]]] = {
    BATCH: pull_one_batch,
    LOOK: look_in_run,
    SAVE: save_in_run,
}


def run_day(
    *, day: date, clock: Clock, seed: int = 0, again: bool = True, planning_s: float | None = None
) -> Iterator[str]:
    """Run every stage of a day in order; a line for each.

    Parameters
    ----------
    day
        The company's day.
    clock
        Tells the moment.
    seed
        Seed of the planner.
    again
        Run stages that are done already as well: each gives the same result again.
    planning_s
        Time that the planner may take [s]; None: what the company has set.

    Raises
    ------
    StageFailed
        A stage broke, or another worker is on it (`StageBusy`); the later ones did not run.
    """
    for stage in STAGES:
        run = ask_for_stage(stage=stage, scope="all", day=day, now=clock(), again=again)
        if run.state == StageRun.State.DONE:
            continue
        if not claim_stage(run_id=run.pk, now=clock()):
            if not is_given_up(run_id=run.pk, now=clock()):
                raise StageBusy(f"{stage}: another worker is on it; the later stages wait for it")
            yield f"{stage}: given up after {StageRun.MOST_ATTEMPTS} tries; the day goes on without"
            continue
        yield f"{stage}: {_run_claimed(run, clock=clock, seed=seed, planning_s=planning_s)}"


def work_on(*, run_id: int, clock: Clock, seed: int = 0) -> bool:
    """Do one asked-for run, if nobody else does; whether this call did it."""
    if not claim_stage(run_id=run_id, now=clock()):
        return False
    run = StageRun.objects.get(pk=run_id)
    if run.stage != NIGHT:
        _run_claimed(run, clock=clock, seed=seed)
        return True
    lines = []
    try:
        with beating(run_id=run_id, clock=clock):
            for line in run_day(day=run.day, clock=clock, seed=seed, again=False):
                lines.append(line)
                beat(run_id=run_id, now=clock(), progress=line)
    except StageBusy as busy:
        put_back(run_id=run_id, reason=str(busy))
    except StageFailed as failed:
        fail_stage(run_id=run_id, now=clock(), error=str(failed))
        raise
    else:
        finish_stage(run_id=run_id, now=clock(), summary=f"{len(lines)} stages")
    return True


def _run_claimed(run: StageRun, *, clock: Clock, seed: int, planning_s: float | None = None) -> str:
    """Summary of a claimed run; a failure is kept with its reason and raised by name."""
    attempt = StageRun.objects.values_list("attempt", flat=True).get(pk=run.pk)
    context = StageContext(
        day=run.day,
        now=clock(),
        seed=seed,
        scope=run.scope,
        planning_s=planning_s,
        clock=clock,
        run_id=run.pk,
        is_retry=attempt > 1,
    )
    try:
        with beating(run_id=run.pk, clock=clock):
            summary = (STAGES | PARTS)[run.stage](context)
    except Exception as error:
        fail_stage(run_id=run.pk, now=clock(), error=traceback.format_exc())
        raise StageFailed(f"{run.stage}: {error}") from error
    finish_stage(run_id=run.pk, now=clock(), summary=summary)
    return summary
