"""Weather that a candidate program is tried on: the same days of past seasons, and the forecast in front."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sites.calc.search.settings import ProgramSettings
from weather.calc.arrays import BoolArray, FloatArray, IntArray

_MOST_MISSING = 0.10
_BLOCK_DAYS = 7
_LEAST_RECENT_DAYS = 30
# Blocks of the recent days are taken in strides of this many days: spread out, and the same each time.
_STRIDE_DAYS = 17


@dataclass(frozen=True, slots=True)
class DaySpan:
    """Reference ET and rain of consecutive days, arrays (days, locations); NaN = unknown.

    Parameters
    ----------
    reference_et_mm
        Reference ET [mm/d].
    rain_mm
        Rain [mm/d].
    """

    reference_et_mm: FloatArray
    rain_mm: FloatArray

    def __post_init__(self) -> None:
        """Refuse shapes that do not fit each other."""
        if self.reference_et_mm.shape != self.rain_mm.shape or self.rain_mm.ndim != 2:
            raise ValueError("ET and rain are needed for each day and location")


@dataclass(frozen=True, slots=True)
class Seasons:
    """Weather of the horizon in several seasons, driest season first.

    Parameters
    ----------
    reference_et_mm, rain_mm
        Reference ET and rain [mm/d], (days, locations, seasons); NaN where the location is not known.
    seasons_used
        Distinct past seasons behind it [1], (locations,).
    is_short
        Whether days of the last weeks stand in for missing seasons, (locations,).
    is_known
        Whether there is weather to plan with at all, (locations,).
    """

    reference_et_mm: FloatArray
    rain_mm: FloatArray
    seasons_used: IntArray
    is_short: BoolArray
    is_known: BoolArray


def seasons(
    past: Sequence[DaySpan],
    recent: DaySpan,
    radiation_ratio: FloatArray,
    settings: ProgramSettings,
) -> Seasons:
    """Weather of the horizon in as many seasons as the settings ask for, driest first.

    A past season counts where at most a tenth of its days is unknown; unknown days take the mean ET of the
    other seasons and another season's rain. Where fewer seasons count than the least, blocks of seven recent
    days fill up, their ET scaled by extraterrestrial radiation; the history is then marked short.

    Parameters
    ----------
    past
        The horizon's calendar days in each past year, newest first, each (days, locations).
    recent
        The last days before the horizon, (recent days, locations).
    radiation_ratio
        Extraterrestrial radiation of each horizon day over the mean of the recent days [1],
        (days, locations).
    settings
        Settings of the round.
    """
    days, locations = radiation_ratio.shape
    shape = (len(past), days, locations)
    et = np.stack([span.reference_et_mm for span in past]) if past else np.empty(shape)
    rain = np.stack([span.rain_mm for span in past]) if past else np.empty(shape)
    counts = _is_counted(et, axis=1) & _is_counted(rain, axis=1)
    et, rain = _mended(et, rain, counts)
    used = np.minimum(counts.sum(axis=0), settings.seasons)
    is_short = used < settings.least_seasons
    blocks_et, blocks_rain = _blocks(recent, radiation_ratio, settings.least_seasons)
    has_recent = _is_counted(recent.reference_et_mm, 0) & _is_counted(recent.rain_mm, 0)
    has_recent &= len(recent.rain_mm) >= _LEAST_RECENT_DAYS
    # Seasons that count first, then blocks, then what does not; the wanted number is filled in a circle.
    pool_et = np.concatenate([et, blocks_et])
    pool_rain = np.concatenate([rain, blocks_rain])
    counted = np.concatenate([counts, np.broadcast_to(is_short & has_recent, (len(blocks_et), locations))])
    order = np.argsort(~counted, axis=0, kind="stable")
    available = np.where(
        is_short & has_recent, np.maximum(used, settings.least_seasons), np.minimum(used, settings.seasons)
    )
    is_known = available > 0
    turn = np.arange(settings.seasons)[:, None] % np.maximum(available, 1)[None, :]
    pick = np.take_along_axis(order, turn, axis=0) if len(order) else turn
    chosen_et = np.take_along_axis(pool_et, pick[:, None, :], axis=0)
    chosen_rain = np.take_along_axis(pool_rain, pick[:, None, :], axis=0)
    chosen_et[:, :, ~is_known] = np.nan
    chosen_rain[:, :, ~is_known] = np.nan
    by_need = np.argsort(-_need(chosen_et, chosen_rain), axis=0, kind="stable")[:, None, :]
    return Seasons(
        np.ascontiguousarray(np.take_along_axis(chosen_et, by_need, axis=0).transpose(1, 2, 0)),
        np.ascontiguousarray(np.take_along_axis(chosen_rain, by_need, axis=0).transpose(1, 2, 0)),
        used.astype(np.int64),
        is_short & is_known,
        is_known,
    )


def with_forecast(found: Seasons, forecast: DaySpan, settings: ProgramSettings) -> Seasons:
    """The seasons with the forecast in their first days; part of the forecast rain is not counted on.

    Parameters
    ----------
    found
        Weather of past seasons.
    forecast
        Forecast of the first days of the horizon, (forecast days, locations); NaN = none.
    settings
        Settings of the round.
    """
    first = min(len(forecast.rain_mm), settings.forecast_days, len(found.rain_mm))
    et, rain = found.reference_et_mm.copy(), found.rain_mm.copy()
    told_et = forecast.reference_et_mm[:first, :, None]
    told_rain = forecast.rain_mm[:first, :, None] * settings.forecast_rain_credit
    et[:first] = np.where(np.isnan(told_et), et[:first], told_et)
    rain[:first] = np.where(np.isnan(told_rain), rain[:first], told_rain)
    return Seasons(et, rain, found.seasons_used, found.is_short, found.is_known)


def driest_count(seasons_known: int, settings: ProgramSettings) -> int:
    """How many of the seasons, driest first, a program that stands for months is sized for [1]."""
    return max(1, int(np.ceil(seasons_known * settings.driest_share)))


def _is_counted(values: FloatArray, axis: int) -> BoolArray:
    """Whether at most a tenth of the days is unknown."""
    if values.shape[axis] == 0:
        return np.zeros(values.shape[:axis] + values.shape[axis + 1 :], dtype=np.bool_)
    return np.asarray(np.isnan(values).mean(axis=axis) <= _MOST_MISSING)


def _mended(et: FloatArray, rain: FloatArray, counts: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Seasons that count without unknown days."""
    et = np.where(counts[:, None, :], et, np.nan)
    rain = np.where(counts[:, None, :], rain, np.nan)
    for season in range(len(et)):
        for other in np.roll(np.arange(len(et)), -season)[1:]:
            rain[season] = np.where(np.isnan(rain[season]), rain[other], rain[season])
    et_gaps, rain_gaps = np.isnan(et), np.isnan(rain)
    filled = np.where(et_gaps, _mean(et, 0), et)
    filled = np.where(np.isnan(filled), _mean(et, 1), filled)
    return filled, np.where(rain_gaps, _mean(rain, 1), rain)


def _mean(values: FloatArray, axis: int) -> FloatArray:
    """Mean of what is known along an axis, kept; NaN where nothing is."""
    known = ~np.isnan(values)
    count = known.sum(axis=axis, keepdims=True)
    total = np.where(known, values, 0.0).sum(axis=axis, keepdims=True)
    mean: FloatArray = np.divide(total, count, out=np.full(total.shape, np.nan), where=count > 0)
    return mean


def _blocks(recent: DaySpan, radiation_ratio: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Seasons put together from blocks of recent days, their ET scaled to the horizon's radiation."""
    days, locations = radiation_ratio.shape
    last = len(recent.rain_mm) - _BLOCK_DAYS
    if last < 0:
        empty = np.full((count, days, locations), np.nan)
        return empty, empty.copy()
    per_season = -(-days // _BLOCK_DAYS)
    first = (np.arange(count * per_season) * _STRIDE_DAYS) % (last + 1)
    at = (first[:, None] + np.arange(_BLOCK_DAYS)).reshape(count, -1)[:, :days]
    et_known = np.where(
        np.isnan(recent.reference_et_mm), _mean(recent.reference_et_mm, 0), recent.reference_et_mm
    )
    rain_known = np.where(np.isnan(recent.rain_mm), _mean(recent.rain_mm, 0), recent.rain_mm)
    return et_known[at] * radiation_ratio, rain_known[at]


def _need(et: FloatArray, rain: FloatArray) -> FloatArray:
    """Water that a garden would need beside the rain, week by week [mm], (seasons, locations)."""
    weeks = et.shape[1] // _BLOCK_DAYS
    whole = weeks * _BLOCK_DAYS
    gap = (et - rain)[:, :whole].reshape(et.shape[0], weeks, _BLOCK_DAYS, -1).sum(axis=2)
    return np.asarray(np.maximum(gap, 0.0).sum(axis=1))
