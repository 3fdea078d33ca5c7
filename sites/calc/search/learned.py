"""What a sensor's own log says about its zone: how much more, or less, a run has to bring than the book says.

While a good sensor lets starts through and blocks others, it holds its zone near the threshold. So what the
runs brought over some weeks, by the book, is what the zone used beside the rain. Where that is not what the
book says that it uses, the book is wrong about the zone's rate, uniformity or coefficient. The other zones
run as often as the governing one does: knowing how often that really is takes its error out of their ratios.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from sites.calc.search.margin import common_variance, own_variance
from sites.calc.search.settings import ProgramSettings
from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import BoolArray, FloatArray, IntArray

# Weather error of the zone's use over some weeks, and error of the rain that counted, as shares (own choice).
_USE_ERROR = 0.04
_RAIN_ERROR = 0.3
# A log of less use says nothing [mm]; nor one in which the sensor blocked (or let through) hardly a start.
_LEAST_USE_MM = 40.0
_LEAST_RAN = 3.0
_LEAST_BLOCKED_SHARE = 0.1
# Beyond so many standard deviations the sensor is the likelier cause than the book [1].
_PLAUSIBLE_SD = 2.5
# At least this share of the use is taken to come from irrigation [1].
_LEAST_IRRIGATED = 0.3


@dataclass(frozen=True, slots=True)
class SensorLog:
    """Sums over the logged days of the last weeks, arrays (controllers,); NaN where nothing was logged.

    Parameters
    ----------
    net_mm
        What the runs brought to the governing zone, by the book [mm].
    use_mm
        Its landscape ET, by the book [mm].
    rain_mm
        Rain that stayed in its root zone [mm].
    ran, offered
        Starts that ran, and starts that the clock offered [1].
    """

    net_mm: FloatArray
    use_mm: FloatArray
    rain_mm: FloatArray
    ran: FloatArray
    offered: FloatArray

    def __post_init__(self) -> None:
        """Refuse unequal lengths."""
        if len({getattr(self, field.name).shape for field in fields(self)}) > 1:
            raise ValueError("a log needs columns of one length")


@dataclass(frozen=True, slots=True)
class Learned:
    """What logs taught, arrays (controllers,).

    Parameters
    ----------
    factor
        Factor on the use of the governing zone that its runs have to meet [1]; 1 where nothing was learned.
    weight
        Share of what the log says that is believed [1], 0 where nothing was learned.
    error_variance
        Variance of the logarithm of what the log says [1].
    """

    factor: FloatArray
    weight: FloatArray
    error_variance: FloatArray

    def use_factor(self, governing: IntArray, zones: int) -> FloatArray:
        """Factor on the use of each zone [1], 1 on those that do not govern, (zones,).

        Parameters
        ----------
        governing
            Position of each controller's governing zone, -1 where none governs, (controllers,).
        zones
            Zones [1].
        """
        factor = np.ones(zones)
        factor[governing[governing >= 0]] = self.factor[governing >= 0]
        return factor


def nothing_learned(count: int) -> Learned:
    """Nothing learned of any controller.

    Parameters
    ----------
    count
        Controllers [1].
    """
    return Learned(np.ones(count), np.zeros(count), np.zeros(count))


def learned_from_logs(
    zones: ZoneTable, governing: IntArray, threshold_mm: FloatArray, log: SensorLog, settings: ProgramSettings
) -> Learned:
    """What the logs of sensors teach about their zones.

    With f = runs by the book / (use - rain) by the book, ln f = -(p - c): p the error of the zone's own rate,
    uniformity and coefficient, c the exposure that all zones of the garden share. The other zones want to
    know p alone, so the part b = P / (P + C + M) of it is believed (best linear estimate), M the error of f
    itself. Measured rates leave little P, and then nothing changes: the garden is sunny, for all its zones.

    Parameters
    ----------
    zones
        Zones with their marks of what is assumed.
    governing
        Position of each controller's governing zone, -1 where none governs, (controllers,).
    threshold_mm
        Depletion at the threshold [mm], (controllers,).
    log
        Their logs.
    settings
        Settings of the round.
    """
    at = np.maximum(governing, 0)
    need = np.maximum(log.use_mm - log.rain_mm, np.maximum(_LEAST_IRRIGATED * log.use_mm, 1.0))
    loss = log.ran * settings.run_loss_mm * zones.application_efficiency[at]
    with np.errstate(divide="ignore", invalid="ignore"):
        said = np.log(np.maximum(log.net_mm - loss, 1e-9) / need)
        error = (
            _USE_ERROR**2
            + (_RAIN_ERROR * log.rain_mm / need) ** 2
            + (0.5 * np.nan_to_num(threshold_mm) / need) ** 2
        )
        own, common = own_variance(zones)[at], common_variance(zones)[at]
        is_plausible = np.abs(said) <= _PLAUSIBLE_SD * np.sqrt(own + common + error)
        known = (governing >= 0) & is_plausible & _tells(log, said)
    weight = np.where(known, own / np.maximum(own + common + error, 1e-12), 0.0)
    return Learned(
        np.where(known, np.exp(weight * np.where(known, said, 0.0)), 1.0),
        weight,
        np.where(known, error, 0.0),
    )


def _tells(log: SensorLog, said: FloatArray) -> BoolArray:
    """Whether a log says anything: enough use, starts that ran, and some that the sensor blocked.

    Where nearly all starts ran, the clock was the limit and the zone wanted at least as much: that still says
    so where it came to more than the book has.
    """
    enough = (log.use_mm >= _LEAST_USE_MM) & (log.ran >= _LEAST_RAN)
    was_gated = log.offered - log.ran >= _LEAST_BLOCKED_SHARE * log.offered
    return np.asarray(enough & (was_gated | (said > 0.0)))
