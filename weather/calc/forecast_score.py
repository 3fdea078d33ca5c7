"""How far forecasts were off, by lead: bias and mean absolute error of ET and rain, and hits of rain.

Hit rate and false alarm ratio are those of a two-by-two table (Wilks 2011, Statistical Methods in the
Atmospheric Sciences, section 8.2.2): hits / (hits + misses), and false alarms / (hits + false alarms).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from weather.calc.arrays import FloatArray, IntArray

WET_MM: Final = 1.0  # a day with less is no day of rain to a garden; common practice, no source
BAND_SD: Final = 1.2816  # 80 % of a normal distribution
MEAN_OF_NORMAL: Final = float(np.sqrt(2.0 / np.pi))
FEWEST_JUDGED: Final = 20  # common practice, no source
CLEARLY_LARGER: Final = 1.25  # common practice, no source


@dataclass(frozen=True, slots=True)
class ForecastPairs:
    """Foretold days beside what came. All arrays are (pairs,); NaN = not foretold, or not measured.

    Parameters
    ----------
    lead_d
        Days from issue to the day [d].
    et_foretold_mm, et_sd_mm, et_came_mm
        ET as foretold, its spread, and as it came [mm/d].
    rain_foretold_mm, rain_came_mm
        Rain as foretold and as it came [mm/d].
    """

    lead_d: IntArray
    et_foretold_mm: FloatArray
    et_sd_mm: FloatArray
    et_came_mm: FloatArray
    rain_foretold_mm: FloatArray
    rain_came_mm: FloatArray

    def __post_init__(self) -> None:
        """Reject arrays of different lengths."""
        if len({getattr(self, field.name).shape for field in fields(self)}) != 1 or self.lead_d.ndim != 1:
            raise ValueError("all arrays of pairs must share one shape (pairs,)")


@dataclass(frozen=True, slots=True)
class LeadScore:
    """Scores of one lead; None where no pair tells it.

    Parameters
    ----------
    lead_d
        Days from issue to the day [d].
    et_pairs, rain_pairs
        Days compared [1].
    et_bias_mm, et_mae_mm
        Mean of foretold less came, and of its size [mm/d].
    et_in_band
        Share of days inside the band of 80 % [1].
    rain_bias_mm, rain_mae_mm
        The same of rain [mm/d].
    wet_days
        Days with rain of at least 1 mm [1].
    hit_rate, false_alarm_ratio
        Share of wet days that were foretold, and of foretold wet days that stayed dry [1].
    """

    lead_d: int
    et_pairs: int
    et_bias_mm: float | None
    et_mae_mm: float | None
    et_in_band: float | None
    rain_pairs: int
    rain_bias_mm: float | None
    rain_mae_mm: float | None
    wet_days: int
    hit_rate: float | None
    false_alarm_ratio: float | None


@dataclass(frozen=True, slots=True)
class ValueErrors:
    """Errors of one foretold value at one lead, beside what its stored spreads expect.

    Parameters
    ----------
    lead_d
        Days from issue to the day [d].
    pairs
        Days compared [1].
    bias, mean_error
        Mean of foretold less came, and of its size [unit of the value; K]; None without a pair.
    expected
        Mean size of error that the spreads of both expect [same unit]; None without a pair.
    """

    lead_d: int
    pairs: int
    bias: float | None
    mean_error: float | None
    expected: float | None

    @property
    def is_told(self) -> bool:
        """Return whether there are days enough to judge by."""
        return self.pairs >= FEWEST_JUDGED

    @property
    def is_wide(self) -> bool:
        """Return whether errors are clearly larger than the spreads expect."""
        if not self.is_told or self.mean_error is None or self.expected is None:
            return False
        return self.mean_error > CLEARLY_LARGER * self.expected


def value_errors(
    lead_d: IntArray,
    foretold: tuple[FloatArray, FloatArray],
    came: tuple[FloatArray, FloatArray],
) -> tuple[ValueErrors, ...]:
    """Errors of one foretold value by lead.

    Parameters
    ----------
    lead_d
        Days from issue to the day [d], shape (pairs,).
    foretold, came
        Values and their standard deviations [unit of the value; K], each of shape (pairs,); NaN = unknown.

    Returns
    -------
    tuple[ValueErrors, ...]
        One a lead, the shortest first [as named]. The mean size of a normal error is 0.798 of its standard
        deviation, sqrt(2 / pi).
    """
    error = foretold[0] - came[0]
    expected = MEAN_OF_NORMAL * np.hypot(foretold[1], came[1])
    found = []
    for lead in np.unique(lead_d):
        mine = (lead_d == lead) & np.isfinite(error)
        found.append(
            ValueErrors(
                lead_d=int(lead),
                pairs=int(mine.sum()),
                bias=_mean(error[mine]),
                mean_error=_mean(np.abs(error[mine])),
                expected=_mean(expected[mine][np.isfinite(expected[mine])]),
            )
        )
    return tuple(found)


def forecast_scores(pairs: ForecastPairs) -> tuple[LeadScore, ...]:
    """Scores of forecasts by lead.

    Parameters
    ----------
    pairs
        Foretold days beside what came [as named].

    Returns
    -------
    tuple[LeadScore, ...]
        One score a lead, the shortest first [as named].
    """
    return tuple(_score(pairs, int(lead)) for lead in np.unique(pairs.lead_d))


def _score(pairs: ForecastPairs, lead: int) -> LeadScore:
    """Scores of one lead."""
    mine = pairs.lead_d == lead
    et_error = (pairs.et_foretold_mm - pairs.et_came_mm)[mine]
    inside = np.abs(et_error) <= BAND_SD * pairs.et_sd_mm[mine]
    has_et = np.isfinite(et_error)
    foretold, came = pairs.rain_foretold_mm[mine], pairs.rain_came_mm[mine]
    has_rain = np.isfinite(foretold) & np.isfinite(came)
    foretold, came = foretold[has_rain], came[has_rain]
    said, was = foretold >= WET_MM, came >= WET_MM
    return LeadScore(
        lead_d=lead,
        et_pairs=int(has_et.sum()),
        et_bias_mm=_mean(et_error[has_et]),
        et_mae_mm=_mean(np.abs(et_error[has_et])),
        et_in_band=_mean(inside[has_et].astype(np.float64)),
        rain_pairs=int(has_rain.sum()),
        rain_bias_mm=_mean(foretold - came),
        rain_mae_mm=_mean(np.abs(foretold - came)),
        wet_days=int(was.sum()),
        hit_rate=_mean(said[was].astype(np.float64)),
        false_alarm_ratio=_mean((~was[said]).astype(np.float64)),
    )


def _mean(values: FloatArray) -> float | None:
    """The mean, None of nothing."""
    return float(values.mean()) if values.size else None
