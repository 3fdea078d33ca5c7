"""The pull of weather in batches of points, each a run of its own: a broken pull goes on where it was."""

from __future__ import annotations

import traceback
from typing import Final

from django.conf import settings

from fleet.models import StageRun
from fleet.selectors.company.company import the_company
from fleet.services.stage_context import StageContext
from fleet.services.stage_runs import ask_for_stage, beat, claim_stage, fail_stage, finish_stage
from sites.services.locations import assign_locations
from sites.services.site_weather import points_in_batches, scope_of
from weather.services.dropped_files import import_dropped_files
from weather.services.pull_weather import SourceReport, close_pull, pull_points
from weather.services.refill_weather import refill_weather
from weather.sources.protocol import DailySource, Point
from weather.sources.registry import build_sources

BATCH: Final = "weather_batch"


class SourceDown(RuntimeError):
    """A source could not be reached for some points of a batch; the batch is tried again."""


def pull_in_batches(context: StageContext) -> str:
    """Fill anew what is marked, bring in dropped files, pull every batch that is not done, fill behind.

    A batch whose source is down fails by itself and is tried again later; the day goes on with filled values,
    and what comes late marks the results from its first day on as out of date.
    """
    refill_weather(
        now=context.now, say=lambda words: beat(run_id=context.run_id, now=context.clock(), progress=words)
    )
    company = the_company()
    if company is not None and company.is_demo:
        return "invented weather, nothing to pull"
    dropped = import_dropped_files(folder=settings.WEATHER_DROP_DIR, now=context.now)
    batches = points_in_batches(size=settings.WEATHER_BATCH)
    runs = [
        ask_for_stage(
            stage=BATCH,
            scope=scope_of(batch),
            day=context.day,
            now=context.clock(),
            again=not context.is_retry,
        )
        for batch in batches
    ]
    reports: list[SourceReport] = []
    failed = 0
    sources = _sources()
    for number, (run, batch) in enumerate(zip(runs, batches, strict=True), start=1):
        if run.state != StageRun.State.DONE and claim_stage(run_id=run.pk, now=context.clock()):
            done = _pull_claimed(run, batch, sources, context)
            reports.extend(done)
            failed += any(report.unreachable for report in done)
        beat(run_id=context.run_id, now=context.clock(), progress=f"batch {number} of {len(batches)}")
    points = [point for batch in batches for point in batch]
    closed = close_pull(points=points, reports=reports, today=context.day, now=context.clock())
    lacking = len(assign_locations().without_weather)
    files = f"{len(dropped.reports)} dropped files; " if dropped.reports else ""
    again = f" {failed} of {len(batches)} batches are tried again." if failed else ""
    without = f" {lacking} sites without weather." if lacking else ""
    return f"{files}{closed.summary()}{again}{without}"


def pull_one_batch(context: StageContext) -> str:
    """Pull the batch of the run's scope once more, after its source was down."""
    for batch in points_in_batches(size=settings.WEATHER_BATCH):
        if scope_of(batch) == context.scope:
            reports = pull_points(points=batch, sources=_sources(), today=context.day, now=context.now)
            assign_locations()
            _raise_where_down(reports)
            return _words(reports)
    return "the points of the sites are others now"


def _pull_claimed(
    run: StageRun, batch: list[Point], sources: tuple[DailySource, ...], context: StageContext
) -> tuple[SourceReport, ...]:
    """Reports of a claimed batch; its own failure is kept and stops no other batch."""
    try:
        reports = pull_points(points=batch, sources=sources, today=context.day, now=context.clock())
    except Exception:  # noqa: BLE001 - kept with its reason; the other batches go on
        fail_stage(run_id=run.pk, now=context.clock(), error=traceback.format_exc())
        return (SourceReport("batch", unreachable=len(batch), problems=[f"{run.scope} broke"]),)
    try:
        _raise_where_down(reports)
    except SourceDown as down:
        fail_stage(run_id=run.pk, now=context.clock(), error=str(down))
    else:
        finish_stage(run_id=run.pk, now=context.clock(), summary=_words(reports))
    return reports


def _raise_where_down(reports: tuple[SourceReport, ...]) -> None:
    """Raise where some source could not be reached."""
    words = [
        f"{report.name}: {problem}" for report in reports if report.unreachable for problem in report.problems
    ]
    if words:
        raise SourceDown("; ".join(words))


def _words(reports: tuple[SourceReport, ...]) -> str:
    """What a batch gave, in a line."""
    return "; ".join(f"{report.name}: {report.added} new, {report.changed} revised" for report in reports)


def _sources() -> tuple[DailySource, ...]:
    """The services that are on."""
    return build_sources(
        names=settings.WEATHER_SOURCES,
        urls=settings.SOURCE_URLS,
        contact=settings.SOURCE_CONTACT,
        open_meteo_key=settings.OPEN_METEO_KEY,
        kept_in=settings.WEATHER_ANSWERS_DIR,
    )
