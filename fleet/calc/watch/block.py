"""Some hundred sites of the filter with their state, small enough to stay in the processor's cache."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch import hypotheses
from fleet.calc.watch.block_day import BlockDay
from fleet.calc.watch.bypass import LOGISTIC_TO_NORMAL, expected_runs, run_likelihood
from fleet.calc.watch.day import Water, add_irrigation, add_rain, kept_after_a_day, take_et
from fleet.calc.watch.flat import flat_log_likelihood
from fleet.calc.watch.grid import SiteConstants
from fleet.calc.watch.settings import FleetFit, WatchSettings
from fleet.calc.watch.twin import TwinCounts, beta_binomial_log, remember, twin_log_likelihood

SingleArray: TypeAlias = npt.NDArray[np.float32]
FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

_STEEPEST_SCORE = 1.5  # per scale: a single day never says more on the common shift
_LEAST_VARIANCE_SHARE = np.float32(0.1)
_WIDEST_STEP = np.float32(3.0)
_PERIOD_STARTS = (
    9.0  # a period's starts share one error: correlation 0.1 between them (set on simulated fleets)
)
_LEAST = np.float32(1e-30)


class Block:
    """State of the block's sites, moved day by day."""

    def __init__(
        self, constants: SiteConstants, fit: FleetFit, settings: WatchSettings, *, branches: bool
    ) -> None:
        """Start healthy, at half the threshold, widely uncertain."""
        self.constants = constants
        self.fit = fit
        self.settings = settings
        sites, nodes = constants.threshold_mm.shape
        dose, et, rain = hypotheses.branch_factors(settings)
        self.dose_factor = (dose[:, None, None] * constants.dose_factor).astype(np.float32)
        self.et_coefficient = (et[:, None, None] * constants.coefficient).astype(np.float32)
        self.rain_factor = rain[:, None, None]
        self.weights = hypotheses.starting_weights(constants.prior_weight, sites, settings)
        shape = (dose.size, sites, nodes)
        self.water = Water(
            depletion_mm=np.broadcast_to(0.5 * constants.threshold_mm, shape).astype(np.float32),
            variance_mm2=np.broadcast_to((0.5 * constants.threshold_mm) ** 2, shape).astype(np.float32),
        )
        self.runs_expected = np.zeros(shape, dtype=np.float32)
        self.starts_offered = np.zeros(sites, dtype=np.float32)
        self.twin = TwinCounts(blocked=np.zeros((sites, 3)), ran=np.zeros((sites, 3)))
        self.keep = kept_after_a_day(fit.drainage_h)
        self.active = 1
        self.branches = branches
        self.log_evidence = np.zeros(sites)

    def active_water(self) -> Water:
        """Views of the state of the branches in use."""
        return Water(
            depletion_mm=self.water.depletion_mm[: self.active],
            variance_mm2=self.water.variance_mm2[: self.active],
        )

    def rain(self, today: BlockDay, share: float) -> None:
        """A share of the day's rain falls, and unknown weather widens the state."""
        if not today.rain_mm.any() and not today.missing_sd_mm.any():
            return
        fallen = np.float32(share) * today.rain_mm[None, :, None]
        spread = np.hypot(np.float32(self.fit.rain_cv) * fallen, today.missing_sd_mm[None, :, None])
        add_rain(
            self.active_water(),
            fallen * self.rain_factor[: self.active],
            spread.astype(np.float32),
            self.constants.floor_mm[None],
        )

    def vote(self, today: BlockDay) -> tuple[FloatArray, FloatArray]:
        """Score [1/mm] and information [1/mm2] of each site on today's common error, by the healthy state."""
        score = np.zeros(today.starts.size)
        information = np.zeros(today.starts.size)
        rows = np.flatnonzero(today.is_on & (today.starts > 0) & (today.ran >= 0))
        if not rows.size:
            return score, information
        margin, seen, scale = self._decision(rows, today, healthy_only=True)
        found = run_likelihood(
            margin,
            seen,
            scale,
            ran=today.ran[rows][None, :, None],
            starts=today.starts[rows][None, :, None],
            noise_share=self.settings.noise_share,
        )
        node = self.weights.joint[0, rows]
        node = node / node.sum(axis=-1, keepdims=True)
        limit = np.float32(_STEEPEST_SCORE) / scale
        slope = np.clip(found.slope_per_mm, -limit, limit)[0]
        bend = np.maximum(-found.curvature_per_mm2[0], 0.0)
        healthy = hypotheses.healthy_probability(self.weights)[rows]
        score[rows] = healthy * (node * slope).sum(axis=-1)
        information[rows] = healthy * (node * bend).sum(axis=-1)
        return score, information

    def shift(self, shift_mm: FloatArray) -> None:
        """Take the others' common error out of every hypothesis' depletion."""
        if shift_mm.any():
            self.water.depletion_mm[: self.active] += shift_mm.astype(np.float32)[None, :, None]
            np.maximum(self.water.depletion_mm, self.constants.floor_mm[None], out=self.water.depletion_mm)

    def judge(self, today: BlockDay, exponent: FloatArray) -> FloatArray:
        """Learn from the day's counts; returns the expected bypass rate of a good sensor, (sites,) [1]."""
        settings = self.settings
        hypotheses.let_faults_begin(self.weights, today.day, today.is_on, settings)
        if self.branches and today.day % settings.spawn_days == settings.spawn_days - 1:
            self._spawn(today)
        rate = self._expected_rate(today)
        rows = np.flatnonzero(today.is_on & (today.starts > 0) & (today.ran >= 0))
        if rows.size:
            self._learn(rows, today, rate[rows], exponent[rows])
        return rate

    def finish(self, today: BlockDay, exponent: FloatArray) -> None:
        """Irrigate by what ran, judge a period that ends, drain, rain on, and take the day's ET."""
        water = self.active_water()
        depth, variance = self._irrigation(today)
        closing = np.flatnonzero(today.is_on & (today.period_starts > 0))
        if closing.size:
            self._learn_period(closing, today, exponent[closing])
        add_irrigation(water, depth, variance, self.constants.floor_mm[None], self.keep)
        self.rain(today, 1.0 - self.fit.rain_before_share)
        demand = today.et_mm[None, :, None] * self.et_coefficient[: self.active]
        take_et(water, demand, self.constants.available_mm[None], self.settings.et_cv)
        self.twin.blocked *= self.settings.twin_memory
        self.twin.ran *= self.settings.twin_memory

    def depletion(self) -> tuple[FloatArray, FloatArray]:
        """Mean [mm] and standard deviation [mm] of the depletion if the sensor is healthy, (sites,)."""
        node = self.weights.joint[0]
        node = node / node.sum(axis=-1, keepdims=True)
        state, variance = self.water.depletion_mm[0], self.water.variance_mm2[0]
        mean = (node * state).sum(axis=-1)
        square = (node * (variance + state * state)).sum(axis=-1)
        return mean.astype(np.float64), np.sqrt(np.maximum(square - mean * mean, 0.0)).astype(np.float64)

    def _decision(
        self, rows: IntArray, today: BlockDay, *, healthy_only: bool = False
    ) -> tuple[SingleArray, SingleArray, SingleArray]:
        """Margin past the threshold, dose seen and scale of the decision, (branches, rows, nodes) [mm]."""
        last = 1 if healthy_only else self.active
        margin = self.water.depletion_mm[:last, rows] - self.constants.threshold_mm[rows]
        dose = np.float32(self.fit.dose_seen_share) * today.dose_mm[rows][None, :, None]
        scale = np.sqrt(
            self.water.variance_mm2[:last, rows] + self.constants.decision_variance_mm2[rows]
        ) / np.float32(LOGISTIC_TO_NORMAL)
        return margin, dose * self.dose_factor[:last, rows], scale

    def _expected_rate(self, today: BlockDay) -> FloatArray:
        """Bypass rate of a good sensor, NaN without starts, (sites,) [1]."""
        rate = np.full(today.starts.size, np.nan)
        rows = np.flatnonzero(today.starts > 0)
        if rows.size:
            margin, seen, scale = self._decision(rows, today, healthy_only=True)
            runs = expected_runs(margin, seen, scale, starts=today.starts[rows][None, :, None])[0]
            node = self.weights.joint[0, rows]
            node = node / node.sum(axis=-1, keepdims=True)
            rate[rows] = 1.0 - (node * runs).sum(axis=-1) / today.starts[rows]
        return rate

    def _learn(self, rows: IntArray, today: BlockDay, rate: FloatArray, exponent: FloatArray) -> None:
        """Weights and states after the day's own counts."""
        settings = self.settings
        starts, ran = today.starts[rows], today.ran[rows]
        blocked = (starts - ran).astype(np.float64)
        offered = starts.astype(np.float64)
        power = settings.temper * exponent
        flat = flat_log_likelihood(blocked, offered, settings)
        own = TwinCounts(blocked=self.twin.blocked[rows], ran=self.twin.ran[rows])
        twin = twin_log_likelihood(own, rate, blocked, offered, settings.twin_prior)
        self.weights.flat[rows] *= np.exp(power[:, None] * np.column_stack([twin, flat]))
        margin, seen, scale = self._decision(rows, today)
        found = run_likelihood(
            margin,
            seen,
            scale,
            ran=ran[None, :, None],
            starts=starts[None, :, None],
            noise_share=settings.noise_share,
        )
        joint = self.weights.joint[: self.active, rows]
        total = joint[0].sum(axis=-1)
        self.log_evidence[rows] += np.log(
            np.maximum((joint[0] * found.probability[0]).sum(axis=-1) / total, _LEAST)
        )
        self.weights.joint[: self.active, rows] = hypotheses.weigh_joint(
            joint, np.log(found.probability), exponent.astype(np.float32), settings.temper
        )
        hypotheses.normalise(self.weights, rows)
        self._move(rows, found.slope_per_mm, found.curvature_per_mm2)
        healthy = hypotheses.healthy_probability(self.weights)[rows]
        remember(self.twin, rows, rate, blocked, offered, healthy)

    def _move(self, rows: IntArray, slope: SingleArray, curvature: SingleArray) -> None:
        """Depletion and variance after the count, by assumed-density filtering."""
        variance = self.water.variance_mm2[: self.active, rows]
        limit = _WIDEST_STEP * np.sqrt(variance)
        self.water.depletion_mm[: self.active, rows] += np.clip(variance * slope, -limit, limit)
        self.water.variance_mm2[: self.active, rows] = np.maximum(
            variance + variance * variance * curvature, _LEAST_VARIANCE_SHARE * variance
        )

    def _learn_period(self, rows: IntArray, today: BlockDay, exponent: FloatArray) -> None:
        """Weights after the total of a counted period; the starts of a period share one error."""
        settings = self.settings
        offered = today.period_starts[rows].astype(np.float64)
        ran = today.period_ran[rows].astype(np.float64)
        days_offered = np.maximum(self.starts_offered[rows], 1.0)[None, :, None]
        share = np.clip(self.runs_expected[: self.active, rows] / days_offered, 0.02, 0.98)
        log_likelihood = beta_binomial_log(
            ran[None, :, None],
            offered[None, :, None],
            _PERIOD_STARTS * share.astype(np.float64),
            _PERIOD_STARTS * (1.0 - share.astype(np.float64)),
        ).astype(np.float32)
        flat = flat_log_likelihood(offered - ran, offered, settings)
        power = settings.temper * exponent
        joint = self.weights.joint[: self.active, rows]
        total = joint[0].sum(axis=-1, keepdims=True)
        twin = np.log((joint[0] / total * np.exp(log_likelihood[0])).sum(axis=-1) + _LEAST)
        self.weights.flat[rows] *= np.exp(power[:, None] * np.column_stack([twin, flat]))
        self.weights.joint[: self.active, rows] = hypotheses.weigh_joint(
            joint, log_likelihood, exponent.astype(np.float32), settings.temper
        )
        hypotheses.normalise(self.weights, rows)

    def _irrigation(self, today: BlockDay) -> tuple[SingleArray, SingleArray]:
        """Depth and variance of the day's irrigation at the spot, (branches, sites, nodes) [mm, mm2]."""
        ran = np.maximum(today.ran, 0).astype(np.float32)
        known = np.where(np.isnan(today.assumed_ran), ran, today.assumed_ran).astype(np.float32)
        dose = today.dose_mm[None, :, None] * self.dose_factor[: self.active]
        runs = np.broadcast_to(known[None, :, None], dose.shape)
        spread = np.float32(self.settings.dose_cv) * runs * dose
        variance = spread * spread
        fresh = np.flatnonzero(today.period_begins)
        self.runs_expected[:, fresh] = 0.0
        self.starts_offered[fresh] = 0.0
        unseen = np.flatnonzero((today.starts > 0) & (today.ran < 0))
        if unseen.size:
            runs = runs.copy()
            margin, seen, scale = self._decision(unseen, today)
            starts = today.starts[unseen][None, :, None]
            guess = expected_runs(margin, seen, scale, starts=starts)
            self.runs_expected[: self.active, unseen] += guess
            self.starts_offered[unseen] += today.starts[unseen]
            fixed = ~np.isnan(today.assumed_ran[unseen])
            runs[:, unseen] = np.where(fixed[None, :, None], runs[:, unseen], guess)
            share = runs[:, unseen] / starts
            variance[:, unseen] += dose[:, unseen] ** 2 * (starts * starts * share * (1.0 - share)).astype(
                np.float32
            )
        return runs * dose, variance

    def _spawn(self, today: BlockDay) -> None:
        """Copy the healthy water into the branches that begin now."""
        self.active = min(self.active + 2, self.water.depletion_mm.shape[0])
        taken = hypotheses.spawn_branches(self.weights, today.day, today.is_on, self.settings, self.active)
        site = np.arange(today.starts.size)
        for slot in taken:
            self.water.depletion_mm[slot, site] = self.water.depletion_mm[0]
            self.water.variance_mm2[slot, site] = self.water.variance_mm2[0]
            self.runs_expected[slot, site] = self.runs_expected[0]
