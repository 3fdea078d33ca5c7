"""The sensor watch of a day: writes the state of every governed controller, raises and closes flags."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np
from django.db import transaction

from fleet.calc.watch.answer import BookFacts, WatchAnswer, watch_answer
from fleet.calc.watch.calibration import FLAG_SCORES, new_flags_a_week
from fleet.calc.watch.fit import fit_fleet
from fleet.calc.watch.inputs import WatchInputs
from fleet.calc.watch.result import fault_score
from fleet.calc.watch.settings import (
    TOO_DRY,
    TOO_WET,
    FleetFit,
    WatchSettings,
    fit_from_values,
    fit_values,
    starting_fit,
    watch_settings,
)
from fleet.models import Company, Flag, WatchDay, WatchFit, WatchState, WatchStatus
from fleet.selectors.watch.arrays import WatchBook, watch_book
from fleet.services.watch.habits import current_habits
from fleet.services.watch.rows import state_rows
from sites.calc import landscape, soil
from sites.models import Sensor

FIT_LASTS_DAYS = 7
_WRITTEN_AT_ONCE = 1_000
_LOOK_BACK_DAYS = 56


@dataclass(frozen=True, slots=True)
class SensorsWatched:
    """What a run of the watch found and changed."""

    as_of: date
    controllers: int
    by_status: dict[str, int]
    raised: int
    closed: int
    left_out: dict[int, str]

    def summary(self) -> str:
        """One line."""
        states = ", ".join(
            f"{self.by_status[name]} {name}" for name in WatchStatus.values if name in self.by_status
        )
        without = f"; {len(self.left_out)} not computed" if self.left_out else ""
        return (
            f"{self.controllers} controllers to {self.as_of}: {states or 'none governed'};"
            f" {self.raised} flags raised, {self.closed} closed by data{without}"
        )


def watch_sensors(*, as_of: date, now: datetime | None = None) -> SensorsWatched:
    """Compare expected and observed bypasses of every governed controller to a day; write states and flags.

    Running it twice for one day gives the same rows. A flag that is open stays open until a finding settles
    it or a fortnight of counts speaks against it. Nothing in it needs the moment: `now` is not looked at.
    """
    del now
    company = Company.objects.first()
    settings = watch_settings(company.settings if company else {})
    book = watch_book(as_of=as_of)
    if book is None:
        return _nothing(as_of)
    resting = _resting(as_of)
    facts = BookFacts(
        peers=book.peers,
        trial_days=book.trial_days,
        planting_days=book.planting_days,
        log_age_days=book.log_age_days,
        is_resting=np.isin(book.controller_ids, list(resting)),
    )
    habits = current_habits(book, as_of=as_of, settings=settings)
    book = replace(book, inputs=replace(book.inputs, habits=habits))
    fit = _current_fit(book.inputs, as_of, settings)
    answer = watch_answer(book.inputs, book.log, facts, fit, settings)
    return _write(book, answer, settings, as_of)


@transaction.atomic
def _write(book: WatchBook, answer: WatchAnswer, settings: WatchSettings, as_of: date) -> SensorsWatched:
    """States and flags of one day."""
    states = state_rows(book, answer, as_of=as_of)
    closed = _close_by_data(book, answer, as_of)
    raised = _raise_flags(states, as_of)
    _wake_by_data(states, answer, settings.flag_score_for(len(states)), as_of)
    _keep_open_flags_visible(states, as_of)
    _store_states(states)
    _forget_ungoverned()
    by_status: dict[str, int] = {}
    for state in states:
        by_status[state.status] = by_status.get(state.status, 0) + 1
    WatchDay.objects.update_or_create(
        as_of=as_of,
        defaults={
            "by_status": by_status,
            "raised": Flag.objects.filter(raised_on=as_of).count(),
            "closed": Flag.objects.filter(closed_on=as_of).count(),
            "new_flags_a_week": _new_flags_a_week(answer, len(states) < settings.small_fleet, settings),
        },
    )
    return SensorsWatched(as_of, len(states), by_status, raised, closed, book.left_out)


def _new_flags_a_week(answer: WatchAnswer, is_small: bool, settings: WatchSettings) -> list[float]:
    """Flags a week that each setting would have raised over the last weeks."""
    stricter = settings.small_fleet_penalty if is_small else 0.0
    limits = tuple(score + stricter for score in FLAG_SCORES)
    found = new_flags_a_week(fault_score(answer.run.probability), limits, _LOOK_BACK_DAYS)
    return [round(float(value), 2) for value in found]


def _wake_by_data(states: list[WatchState], answer: WatchAnswer, flag_score: float, as_of: date) -> None:
    """End the rest of flags whose sensor now errs in another direction than when it was put to rest."""
    resting = {
        flag.controller_id: flag
        for flag in Flag.objects.filter(closed_on__isnull=True, resting_until__gt=as_of)
    }
    for at, state in enumerate(states):
        flag = resting.get(state.controller_id)
        if flag is None or state.status != WatchStatus.RESTING or answer.score[at] <= flag_score:
            continue
        if _direction(state.cause) == _direction(flag.cause):
            continue
        words = f"Woken by data: it was put to rest as {flag.get_cause_display()}. {state.evidence}"
        state.status, state.evidence = WatchStatus.FLAG, words[:600]
        _filled(flag, state)
        flag.resting_until, flag.resting_reason = None, ""
        flag.save()


def _direction(cause: str) -> str:
    """Too wet, too dry, or the cause itself."""
    return "wet" if cause in TOO_WET else "dry" if cause in (*TOO_DRY, "overridden") else cause


def _store_states(states: list[WatchState]) -> None:
    """Upsert by controller."""
    names = [
        field.name for field in WatchState._meta.concrete_fields if field.name not in ("id", "controller")
    ]
    WatchState.objects.bulk_create(
        states,
        batch_size=_WRITTEN_AT_ONCE,
        update_conflicts=True,
        unique_fields=["controller"],
        update_fields=names,
    )


def _forget_ungoverned() -> None:
    """Controllers that no sensor blocks any more have no state; their flags stay."""
    governed = Sensor.objects.filter(controller__governed=True).values("controller_id")
    WatchState.objects.exclude(controller_id__in=governed).delete()


def _raise_flags(states: list[WatchState], as_of: date) -> int:
    """Open a flag where the watch flags and none is open; bring open ones up to date. Returns new ones."""
    open_flags = {flag.controller_id: flag for flag in Flag.objects.filter(closed_on__isnull=True)}
    same_day = set(Flag.objects.filter(raised_on=as_of).values_list("controller_id", flat=True))
    fresh, known = [], []
    for state in states:
        if state.status != WatchStatus.FLAG:
            continue
        flag = open_flags.get(state.controller_id)
        if flag is None:
            if state.controller_id not in same_day:
                fresh.append(_filled(Flag(controller_id=state.controller_id, raised_on=as_of), state))
        elif flag.raised_on <= as_of:
            known.append(_filled(flag, state))
    Flag.objects.bulk_create(fresh, batch_size=_WRITTEN_AT_ONCE)
    Flag.objects.bulk_update(
        known,
        ["cause", "since", "probability", "cause_probability", "litres_at_stake_per_week", "evidence"],
        batch_size=_WRITTEN_AT_ONCE,
    )
    return len(fresh)


def _filled(flag: Flag, state: WatchState) -> Flag:
    """The flag with what the state says; the cause is judged anew every day while it is open."""
    flag.cause = state.cause
    flag.since = state.since
    flag.probability = state.probability or 0.0
    flag.cause_probability = state.cause_probability
    flag.litres_at_stake_per_week = state.litres_at_stake_per_week
    flag.evidence = state.evidence
    return flag


def _close_by_data(book: WatchBook, answer: WatchAnswer, as_of: date) -> int:
    """Close open flags whose controllers were in order for a fortnight with counts; how many."""
    outside = np.maximum(answer.outside.no_power, answer.outside.program_differs) > 0.5
    in_order = answer.calm & ~outside & ~np.isin(answer.verdict.status, ["flag", "watch"])
    ids = book.controller_ids[in_order].tolist()
    return Flag.objects.filter(controller_id__in=ids, closed_on__isnull=True, raised_on__lt=as_of).update(
        closed_on=as_of, closed_by=Flag.ClosedBy.DATA
    )


def _keep_open_flags_visible(states: list[WatchState], as_of: date) -> None:
    """A controller whose flag is still open is shown as flagged, whatever less the newest days say."""
    open_flags = {
        flag.controller_id: flag for flag in Flag.objects.filter(closed_on__isnull=True, raised_on__lte=as_of)
    }
    shown_as_is = (WatchStatus.FLAG, WatchStatus.RESTING, WatchStatus.OFF_SEASON)
    for state in states:
        flag = open_flags.get(state.controller_id)
        if flag is None or state.status in shown_as_is:
            continue
        state.status = WatchStatus.FLAG
        state.cause = flag.cause
        state.cause_probability = flag.cause_probability
        state.since = flag.since
        state.litres_at_stake_per_week = flag.litres_at_stake_per_week
        state.evidence = f"Flagged on {flag.raised_on}, not settled yet. {flag.evidence}"[:600]


def _resting(as_of: date) -> set[int]:
    """Controllers whose open flag a person put to rest beyond the day."""
    rows = Flag.objects.filter(closed_on__isnull=True, resting_until__gt=as_of)
    return set(rows.values_list("controller_id", flat=True))


def _current_fit(inputs: WatchInputs, as_of: date, settings: WatchSettings) -> FleetFit:
    """The fit of the week; learned anew, and kept, when the newest is older."""
    newest = WatchFit.objects.filter(as_of__lte=as_of).first()
    start = starting_fit(len(landscape.PLANTS) * len(landscape.HEADS), len(soil.TEXTURES))
    if newest is not None:
        kept = fit_from_values(start, newest.values)
        if newest.as_of > as_of - timedelta(days=FIT_LASTS_DAYS) and newest.controllers == inputs.site_count:
            return kept
    fit = fit_fleet(inputs, start, settings)
    WatchFit.objects.update_or_create(
        as_of=as_of, defaults={"values": fit_values(fit), "controllers": inputs.site_count}
    )
    return fit


def _nothing(as_of: date) -> SensorsWatched:
    """No controller can be watched."""
    with transaction.atomic():
        _forget_ungoverned()
    left = dict.fromkeys(
        Sensor.objects.filter(controller__governed=True).values_list("controller_id", flat=True),
        "no weather, or no zone at the sensor's station",
    )
    return SensorsWatched(as_of, 0, {}, 0, 0, left)
