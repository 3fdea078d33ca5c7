"""What a program that is set now does under the same weather: the yardstick of a change."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sites.calc.gating import run_governing, run_zones
from sites.calc.program_problem import Problem
from weather.calc.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class SetNow:
    """Outcome of what is set, over the horizon, mean of the seasons.

    Parameters
    ----------
    is_known
        Whether anything is set, (controllers,).
    minutes
        Minutes of one start [min], (zones,).
    adequacy, dry_share
        Share of ET without stress, share of days beyond allowed depletion [1], (zones,).
    lost_mm, gross_mm
        Losses, run-off included, and gross depth [mm], (zones,).
    minutes_a_week
        Minutes offered a week, all zones together [min], (controllers,).
    """

    is_known: BoolArray
    minutes: FloatArray
    adequacy: FloatArray
    dry_share: FloatArray
    lost_mm: FloatArray
    gross_mm: FloatArray
    minutes_a_week: FloatArray


def set_now(given: Problem, *, starts: FloatArray, run_min: FloatArray, is_known: BoolArray) -> SetNow:
    """Run what is set through the horizon's weather, gate included.

    Parameters
    ----------
    given
        The controllers with their zones.
    starts
        Starts that each controller offers [1/d], (days, controllers).
    run_min
        Minutes of each zone, all starts of the day together [min/d], (days, zones).
    is_known
        Whether a setting is known, (controllers,).
    """
    offered = starts[:, given.owner]
    with np.errstate(divide="ignore", invalid="ignore"):
        per_start = np.where(offered > 0, run_min / offered, np.nan)
    minutes = np.nan_to_num(np.nanmax(np.where(np.isnan(per_start), -1.0, per_start), axis=0, initial=0.0))
    counts = starts[:, :, None].astype(np.uint8)
    infiltrating = np.minimum(minutes, given.cap_min)[:, None]
    pass_mm = given.net_mm(infiltrating).astype(np.float32)
    if bool(np.all(given.governing >= 0)):
        zones = given.governing
        _, running = run_governing(
            given.truth.take(zones),
            given.threshold_mm().astype(np.float32),
            np.maximum(pass_mm[zones], 0.05).astype(np.float32),
            counts,
            keep_starts=True,
        )
        if running is None:
            raise RuntimeError("starts were asked for")
    else:
        running = counts[:, :, :, None]
    outcome = run_zones(given.truth, pass_mm, running, given.owner)
    passes = outcome.passes[:, 0].astype(np.float64)
    rate = given.zones.precipitation_rate_mm_h / 60
    run_off = rate * np.maximum(minutes - given.cap_min, 0.0) * passes
    lost = (
        outcome.percolated_mm[:, 0]
        + run_off
        + passes * np.minimum(given.settings.run_loss_mm, rate * minutes)
    )
    weeks = starts.shape[0] / 7.0
    return SetNow(
        is_known=is_known,
        minutes=minutes,
        adequacy=outcome.adequacy[:, 0].astype(np.float64),
        dry_share=outcome.dry_share[:, 0].astype(np.float64),
        lost_mm=np.asarray(lost, dtype=np.float64),
        gross_mm=np.asarray(rate * minutes * passes),
        minutes_a_week=np.add.reduceat(run_min.sum(axis=0), given.first) / weeks,
    )
