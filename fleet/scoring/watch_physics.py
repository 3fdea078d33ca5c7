"""Two ways in which water may move at a sensor, neither of them the watch's own.

`OneLayer`: van Genuchten retention and conductivity (Mualem), drainage at unit gradient, a sensor that
follows wetting and drying with different lags. `TwoLayers`: Clapp-Hornberger curves with the regression of
Cosby and others (1984), an upper layer that dries first and draws on a lower one, a sensor with hysteresis
between blocking and letting go. Both step by the hour; state arrays are (spots, sites), where the first spot
is the sensor's, the second the one where a good sensor would stand, and the others misread.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol, TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.scoring.watch_gardens import TrueGardens

FloatArray: TypeAlias = npt.NDArray[np.float64]

_CM_PER_KPA: Final = 10.197
_MM_PER_CM: Final = 10.0
_WILTING_KPA: Final = 1500.0
FIELD_CAPACITY_KPA: Final = 10.0
# theta_r, theta_s, alpha [1/cm], n, Ks [cm/h] in the order of SOILS: class averages of Schaap, Leij and
# van Genuchten (2001, J. Hydrol. 251:163-176).
_ROSETTA: Final = np.array(
    [
        (0.053, 0.375, 0.0352, 3.18, 26.779),
        (0.049, 0.390, 0.0348, 1.75, 4.383),
        (0.039, 0.387, 0.0267, 1.45, 1.595),
        (0.061, 0.399, 0.0111, 1.47, 0.502),
        (0.065, 0.439, 0.0051, 1.66, 0.760),
        (0.079, 0.442, 0.0158, 1.42, 0.341),
        (0.098, 0.459, 0.0150, 1.25, 0.615),
    ]
)
# b, psi_s [cm], theta_s in the order of SOILS: Table 5 of Cosby and others (1984, WRR 20:682-690) at the mean
# textures, and saturated conductivity of Clapp and Hornberger (1978) [cm/min].
_COSBY: Final = np.array(
    [
        (3.387, 4.73, 0.373, 1.056),
        (3.864, 6.39, 0.386, 0.938),
        (4.500, 13.19, 0.416, 0.208),
        (5.772, 20.73, 0.435, 0.0417),
        (4.977, 45.43, 0.468, 0.0432),
        (8.316, 28.89, 0.449, 0.0147),
        (12.132, 39.07, 0.461, 0.0077),
    ]
)
SPOTS: Final = 4
_START_NOISE: Final = 0.08  # of ln(tension) at each start


class Physics(Protocol):
    """Water and sensor of all gardens, moved hour by hour."""

    def hour(self, water_in_mm: FloatArray, demand_mm: FloatArray) -> None:
        """Let water in and take ET, both (spots, sites) [mm]."""

    def log_tension(self) -> FloatArray:
        """Log of the tension that each spot's sensor sees, (spots, sites) [ln kPa]."""

    def blocks(self, noise: FloatArray) -> npt.NDArray[np.bool_]:
        """Whether the sensor at the first spot blocks a start now, (sites,)."""


@dataclass(slots=True)
class OneLayer:
    """Van Genuchten bucket with a lagging sensor."""

    garden: TrueGardens
    theta: FloatArray
    seen: FloatArray
    curve: tuple[FloatArray, ...]

    wetting_h: Final = 3.0
    drying_h: Final = 10.0

    @classmethod
    def start(cls, garden: TrueGardens) -> OneLayer:
        """All spots at field capacity."""
        low, high, alpha, n, conductivity = _ROSETTA[garden.soil].T
        alpha = alpha * np.exp(garden.curve_shift)
        curve = (low, high, alpha, n, conductivity * _MM_PER_CM)
        theta = np.tile(_genuchten(curve, FIELD_CAPACITY_KPA), (SPOTS, 1))
        return cls(garden, theta, theta.copy(), curve)

    def hour(self, water_in_mm: FloatArray, demand_mm: FloatArray) -> None:
        """Let water in, drain at unit gradient, take ET under stress, let the sensor follow."""
        low, high, _, n, conductivity = self.curve
        root = self.garden.root_depth_mm
        self.theta = np.minimum(self.theta + np.minimum(water_in_mm, conductivity * 4.0) / root, high)
        share = np.clip((self.theta - low) / (high - low), 1e-4, 1.0)
        m = 1.0 - 1.0 / n
        rate = conductivity * np.sqrt(share) * (1.0 - (1.0 - share ** (1.0 / m)) ** m) ** 2
        self.theta -= np.minimum(rate, 0.3 * (self.theta - low) * root) / root
        wilting = _genuchten(self.curve, _WILTING_KPA)
        capacity = _genuchten(self.curve, FIELD_CAPACITY_KPA)
        stress = np.clip((self.theta - wilting) / (0.5 * (capacity - wilting)), 0.0, 1.0)
        self.theta = np.maximum(self.theta - demand_mm * stress / root, wilting)
        lag = np.where(self.theta > self.seen, self.wetting_h, self.drying_h)
        self.seen += (self.theta - self.seen) * (1.0 - np.exp(-1.0 / lag))

    def log_tension(self) -> FloatArray:
        """Log tension that the sensors see."""
        low, high, alpha, n, _ = self.curve
        share = np.clip((self.seen - low) / (high - low), 1e-4, 0.9999)
        m = 1.0 - 1.0 / n
        head_cm = (share ** (-1.0 / m) - 1.0) ** (1.0 / n) / alpha
        return np.asarray(np.log(np.maximum(head_cm / _CM_PER_KPA, 0.1)))

    def blocks(self, noise: FloatArray) -> npt.NDArray[np.bool_]:
        """Wetter than the threshold, with a little noise."""
        return np.asarray(self.log_tension()[0] + _START_NOISE * noise < np.log(self.garden.threshold_kpa))


@dataclass(slots=True)
class TwoLayers:
    """An upper and a lower half of the root zone, and a sensor with hysteresis."""

    garden: TrueGardens
    upper: FloatArray
    lower: FloatArray
    blocking: npt.NDArray[np.bool_]
    curve: tuple[FloatArray, ...]

    upper_roots: Final = 0.65
    seen_upper: Final = 0.6
    half_band: Final = 0.12  # of ln(tension)
    exchange: Final = 0.03  # a hour

    @classmethod
    def start(cls, garden: TrueGardens) -> TwoLayers:
        """All layers at field capacity."""
        b, psi_cm, high, conductivity = _COSBY[garden.soil].T
        curve = (b, psi_cm * np.exp(garden.curve_shift) / _CM_PER_KPA, high, conductivity * 60.0 * _MM_PER_CM)
        theta = np.tile(_campbell(curve, FIELD_CAPACITY_KPA), (SPOTS, 1))
        return cls(garden, theta, theta.copy(), np.zeros(garden.soil.size, dtype=np.bool_), curve)

    def hour(self, water_in_mm: FloatArray, demand_mm: FloatArray) -> None:
        """Let water in from above, pass it down, draw it up, take ET from both layers."""
        _, _, high, conductivity = self.curve
        half = 0.5 * self.garden.root_depth_mm
        self.upper += np.minimum(water_in_mm, conductivity) / half
        over = np.maximum(self.upper - high, 0.0)
        self.upper -= over
        self.lower = np.minimum(self.lower + over, high)
        capacity = _campbell(self.curve, FIELD_CAPACITY_KPA)
        down = 0.12 * np.maximum(self.upper - capacity, 0.0)
        self.upper -= down
        self.lower = np.minimum(self.lower + down, high)
        self.lower -= 0.06 * np.maximum(self.lower - capacity, 0.0)
        drawn = self.exchange * (self.lower - self.upper)
        self.upper += drawn
        self.lower -= drawn
        wilting = _campbell(self.curve, _WILTING_KPA)
        for layer, roots in ((self.upper, self.upper_roots), (self.lower, 1.0 - self.upper_roots)):
            stress = np.clip((layer - wilting) / (0.4 * (capacity - wilting)), 0.0, 1.0)
            layer -= demand_mm * roots * stress / half
            np.maximum(layer, wilting, out=layer)

    def log_tension(self) -> FloatArray:
        """Log tension of the mix of layers that the sensors see."""
        b, psi_kpa, high, _ = self.curve
        seen = self.seen_upper * self.upper + (1.0 - self.seen_upper) * self.lower
        return np.asarray(np.log(psi_kpa) - b * np.log(seen / high))

    def blocks(self, noise: FloatArray) -> npt.NDArray[np.bool_]:
        """Blocks below the band, lets go above it, and keeps its mind within."""
        over = self.log_tension()[0] + _START_NOISE * noise - np.log(self.garden.threshold_kpa)
        self.blocking = np.where(self.blocking, over < self.half_band, over < -self.half_band)
        return self.blocking


PHYSICS: Final[dict[str, type[OneLayer] | type[TwoLayers]]] = {
    "one_layer": OneLayer,
    "two_layers": TwoLayers,
}


def _genuchten(curve: tuple[FloatArray, ...], tension_kpa: float | FloatArray) -> FloatArray:
    """Water content at a tension by van Genuchten (1980)."""
    low, high, alpha, n, _ = curve
    head = alpha * tension_kpa * _CM_PER_KPA
    return np.asarray(low + (high - low) * (1.0 + head**n) ** -(1.0 - 1.0 / n))


def _campbell(curve: tuple[FloatArray, ...], tension_kpa: float | FloatArray) -> FloatArray:
    """Water content at a tension by Clapp and Hornberger (1978)."""
    b, psi_kpa, high, _ = curve
    return np.asarray(high * np.minimum(1.0, (tension_kpa / psi_kpa) ** (-1.0 / b)))
