"""What a visit changes in the book: a program keyed in, a threshold set."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db import transaction

from sites.models import ProgramLine, ProgramSet, Recommendation, Sensor
from sites.models.choices import ProgramStatus
from sites.selectors.issue_gate import barred_programs
from sites.services.history import ChangeNote, record_changes
from sites.services.staleness import mark_sites_stale

# What a visit that saw the lawns does to the demand that they are planned with, by the clock alone [1].
TURF_FACTOR: Final = {"evenly_dry": 1.1, "soggy": 0.9}
LEAST_FACTOR: Final = 0.7
LINE_COLUMNS: Final = ("letter", "days", "starts", "station", "run_min", "run_order", "seasonal_adjust_pct")
MOST_FACTOR: Final = 1.5


class NothingToKeyIn(LookupError):
    """There is no recommended program that waits to be keyed in."""


class ThresholdNotOffered(ValueError):
    """The unit does not offer that setting; the message lists what it offers."""


@dataclass(frozen=True, slots=True)
class ProgramKeyedIn:
    """A recommended program that now stands in its controller."""

    recommendation_id: int
    program_set_id: int
    controller_id: int
    changed: bool  # False: it stood there already
    status_before: str = ""
    # What stood in the book for that day before; None: nothing did.
    lines_before: tuple[dict[str, object], ...] | None = None
    barred: str = (
        ""  # why it was not to be keyed in: the fact is kept, and somebody has to look; empty: it was
    )


@dataclass(frozen=True, slots=True)
class ThresholdSet:
    """A sensor's threshold before and after [kPa]."""

    sensor_id: int
    before_kpa: float | None
    after_kpa: float


@transaction.atomic
def key_in_recommendation(*, recommendation_id: int, on: date, by: str, at: datetime) -> ProgramKeyedIn:
    """Make a recommended program the one that is set, from a day on; doing it twice changes nothing.

    One that was held, or breaks a watering rule without a written reason, is kept as a fact too: it stands in
    the timer. The answer and the history say that it was not to be keyed in.
    """
    row = (
        Recommendation.objects.filter(pk=recommendation_id)
        .select_related("controller__site")
        .prefetch_related("lines")
        .first()
    )
    if row is None or not row.lines.all():
        raise NothingToKeyIn(f"recommendation {recommendation_id} has no program")
    kept, is_new = ProgramSet.objects.update_or_create(
        controller=row.controller, as_of=on, defaults={"origin": ProgramSet.Origin.KEYED_IN}
    )
    if not is_new and row.status == ProgramStatus.KEYED_IN:
        return ProgramKeyedIn(row.pk, kept.pk, row.controller_id, changed=False)
    bar = barred_programs(recommendation_ids=[row.pk]).get(row.pk)
    before_lines = None if is_new else tuple(kept.lines.values(*LINE_COLUMNS))
    kept.lines.all().delete()
    ProgramLine.objects.bulk_create(
        ProgramLine(
            program_set=kept,
            letter=line.letter,
            days=line.days,
            starts=line.starts,
            station=line.station,
            run_min=line.run_min,
            run_order=line.run_order,
            seasonal_adjust_pct=line.seasonal_adjust_pct,
        )
        for line in row.lines.all()
    )
    before = row.status
    Recommendation.objects.filter(pk=row.pk).update(status=ProgramStatus.KEYED_IN)
    site = row.controller.site
    mark_sites_stale(since={site.pk: on})
    note = ChangeNote(
        kind="recommendation",
        key=f"{site.code}/{row.controller.code}/{row.week.isoformat()}",
        site_code=site.code,
        before={"status": before},
        after={
            "status": ProgramStatus.KEYED_IN.value,
            "as_of": on.isoformat(),
            **({"outside_hours": True} if bar is not None and bar.breaks else {}),
        },
        reason=f"keyed in at a visit all the same. {bar.sentence}" if bar else "keyed in at a visit",
    )
    record_changes(notes=[note], by=by, at=at)
    return ProgramKeyedIn(
        row.pk,
        kept.pk,
        row.controller_id,
        changed=True,
        status_before=before,
        lines_before=before_lines,
        barred=bar.sentence if bar is not None else "",
    )


@transaction.atomic
def set_threshold(*, controller_id: int, threshold_kpa: float, by: str, at: datetime) -> ThresholdSet:
    """Note the threshold to which a controller's sensor was set; raises `ThresholdNotOffered`."""
    sensor = Sensor.objects.filter(controller_id=controller_id).select_related("controller__site").first()
    if sensor is None:
        raise ThresholdNotOffered("this controller has no sensor in the book")
    if sensor.threshold_steps and threshold_kpa not in sensor.threshold_steps:
        offered = ", ".join(f"{step:g}" for step in sensor.threshold_steps)
        raise ThresholdNotOffered(f"{threshold_kpa:g} kPa is not offered; the unit offers {offered} kPa")
    before = sensor.threshold_kpa
    if before == threshold_kpa:
        return ThresholdSet(sensor.pk, before, threshold_kpa)
    Sensor.objects.filter(pk=sensor.pk).update(threshold_kpa=threshold_kpa)
    site = sensor.controller.site
    note = ChangeNote(
        kind="sensor",
        key=f"{site.code}/{sensor.controller.code}",
        site_code=site.code,
        before={"threshold_kpa": before},
        after={"threshold_kpa": threshold_kpa},
        reason="set at a visit",
    )
    record_changes(notes=[note], by=by, at=at)
    return ThresholdSet(sensor.pk, before, threshold_kpa)
