"""What a good sensor should show this morning: blocking indicator, tension and reading.

The numbers are the balance's, not a measurement; the page says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from django.db.models import Avg, F

from fleet.calc.on_site.sensor_reading import (
    FIT_WORDS,
    Fit,
    ReadingBands,
    resistance_to_expect,
    tension_reading,
)
from fleet.models import Finding, WatchState
from fleet.quantities import worded
from sites.calc import soil
from sites.models import Zone
from sites.selectors.zones import zone_table
from weather.models import DailyWeather

_WARMTH_DAYS: Final = 7
_USUAL_SOIL_C: Final = 20.0
_SURE: Final = 1.0  # standard deviations from the threshold


@dataclass(frozen=True, slots=True)
class Expected:
    """Readings to expect of a good sensor, in words.

    Parameters
    ----------
    indicator
        Blocking indicator this morning.
    now
        Tension and reading by the balance; empty where unknown.
    at_threshold
        Reading at which it should let go; empty where the threshold is not known.
    warmth
        Soil temperature taken, and from where.
    last_reading
        Newest reading that a technician noted, converted now; empty without one.
    """

    indicator: str
    now: str
    at_threshold: str
    warmth: str
    last_reading: str


def expected_readings(*, state: WatchState, is_us: bool) -> Expected | None:
    """What to expect at a controller's sensor; None where its trace holds no water."""
    trace = state.trace if isinstance(state.trace, dict) else {}
    known = [value for value in trace.get("depletion_mm", []) if value is not None]
    if not known or trace.get("threshold_mm") is None:
        return None
    depletion, threshold = float(known[-1]), float(trace["threshold_mm"])
    spreads = [value for value in trace.get("depletion_sd_mm", []) if value is not None]
    spread = float(spreads[-1]) if spreads else 0.0
    warm, words = _soil_warmth(state, is_us=is_us)
    return Expected(
        indicator=_indicator(depletion, spread, threshold),
        now=_now(state, depletion, spread, warm),
        at_threshold=_at_threshold(state.controller.sensor.threshold_kpa, warm),
        warmth=words,
        last_reading=_last_reading(state, is_us=is_us),
    )


def _indicator(depletion_mm: float, spread_mm: float, threshold_mm: float) -> str:
    """Whether the blocking indicator should be on."""
    if depletion_mm < threshold_mm - _SURE * spread_mm:
        return "Blocking indicator on: by the balance the soil is wetter than the threshold."
    if depletion_mm > threshold_mm + _SURE * spread_mm:
        return "Blocking indicator off: by the balance the soil is drier than the threshold."
    return "The balance is too near the threshold to say whether the blocking indicator is on."


def _now(state: WatchState, depletion_mm: float, spread_mm: float, warm_c: float) -> str:
    """Tension and reading by the balance, with the spread of the depletion."""
    zone = Zone.objects.filter(controller=state.controller, station=state.controller.sensor.station).first()
    if zone is None:
        return ""
    table = zone_table(site_ids=[state.controller.site_id])
    at = int(table.positions_of([zone.pk])[0])
    most = float(table.total_available_water_mm[at])
    ends = np.clip([depletion_mm - spread_mm, depletion_mm + spread_mm], 0.0, 0.999 * most)
    soils = np.full(2, int(table.soil[at]))
    low, high = soil.tension_kpa(soils, ends, np.full(2, float(table.root_depth_mm[at])))
    ends_kohm = dict.fromkeys(resistance_to_expect(float(end), warm_c) for end in (low, high))
    return (
        f"{low:.0f} to {high:.0f} kPa by the balance and the soil's curve, which reads"
        f" {' to '.join(ends_kohm)} ({FIT_WORDS[Fit.SHOCK_1998]})."
    )


def _at_threshold(threshold_kpa: float | None, warm_c: float) -> str:
    """Reading at the threshold."""
    if threshold_kpa is None:
        return ""
    reads = resistance_to_expect(threshold_kpa, warm_c)
    return f"At its threshold of {threshold_kpa:g} kPa it reads {reads}."


def _soil_warmth(state: WatchState, *, is_us: bool) -> tuple[float, str]:
    """Soil temperature: the mean air temperature of the last week, else a usual one [degC]."""
    site = state.controller.site
    mean = None
    if site.location_id is not None:
        days = DailyWeather.objects.filter(
            location_id=site.location_id,
            kind=DailyWeather.Kind.OBSERVED,
            day__gt=state.as_of - timedelta(days=_WARMTH_DAYS),
            day__lte=state.as_of,
        )
        mean = days.aggregate(mean=Avg((F("tmin_c") + F("tmax_c")) / 2.0))["mean"]
    if mean is None:
        usual = worded(_USUAL_SOIL_C, "temperature", is_us=is_us)
        return _USUAL_SOIL_C, f"Soil taken as {usual}, assumed: no air temperature is known."
    share = "1 %" if is_us else "2 %"
    return float(mean), (
        f"Soil taken as {worded(float(mean), 'temperature', is_us=is_us)}, the mean air temperature of the"
        f" last week; each degree is worth about {share} of the tension. Measure it beside the sensor."
    )


def _last_reading(state: WatchState, *, is_us: bool) -> str:
    """The newest reading of a technician at this site's sensor, as tension."""
    finding = (
        Finding.objects.that_count()
        .filter(
            visit__site_id=state.controller.site_id,
            visit__needs__controller_id=state.controller_id,
            resistance_kohm__isnull=False,
        )
        .order_by("-recorded_at")
        .first()
    )
    if finding is None or finding.resistance_kohm is None:
        return ""
    measured = finding.soil_temperature_c
    warm = _USUAL_SOIL_C if measured is None else measured
    found = tension_reading(finding.resistance_kohm, warm, Fit.SHOCK_1998, ReadingBands())
    assumed = ", soil temperature assumed" if measured is None else ""
    day: date = finding.recorded_at.date()
    at = worded(warm, "temperature", is_us=is_us)
    return f"{day.isoformat()}: {finding.resistance_kohm:g} kohm at {at}{assumed}: {found.words}."
