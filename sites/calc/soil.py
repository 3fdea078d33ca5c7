"""Soil water by texture: one retention curve per soil, so that field capacity, threshold and depletion agree.

Curve of Clapp and Hornberger 1978 (Water Resour. Res. 14:601-604, Table 2): psi = psi_s (theta / theta_s)^-b.
Field capacity is the water held at 10 kPa (a setting, 6 to 15 kPa), since lawns are shallow and drain within
a day; wilting point is the water held at 1,500 kPa. With both taken from the same curve, the share of the
available water that is gone at a tension psi needs only b and the tension of field capacity.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from sites.calc.reference_tables import table_column, table_rows
from weather.calc.units import inches_to_mm

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

TEXTURES: tuple[str, ...] = tuple(row["texture"] for row in table_rows("soil_retention"))
DEFAULT_TEXTURE = "loam"
FIELD_CAPACITY_KPA = 10.0
FIELD_CAPACITY_RANGE_KPA = (6.0, 15.0)
WILTING_POINT_KPA = 1500.0
# A fifth more or less tension is worth about this much of the available water (computed over the textures).
TENSION_READING_SD = 0.05
_SLOPE_CLASSES_PCT = (3.0, 6.0, 12.0)


def _retention(column: str) -> FloatArray:
    """A column of the retention table in the order of TEXTURES."""
    return table_column("soil_retention", "texture", TEXTURES, column)


def _intake(column: str) -> FloatArray:
    """A column of the intake table in the order of TEXTURES."""
    return table_column("soil_intake", "texture", TEXTURES, column)


_B = _retention("b")
_SATURATION_KPA = _retention("saturation_tension_kpa")
_SATURATION = _retention("saturation_water_content")
_FRACTION_SD = _retention("depletion_fraction_sd")
_INTAKE_MM_H = _intake("intake_rate_mm_h")
_ACCUMULATION_MM = inches_to_mm(
    np.stack([_intake(f"accumulation_{steepness}_pct_in") for steepness in ("0_3", "4_6", "7_12", "13")])
)


class ThresholdTooWet(ValueError):
    """A threshold at or wetter than field capacity: the sensor would wait for water that drains away."""


class UnknownTexture(ValueError):
    """A soil that is no USDA texture class."""


def texture_index(texture: str) -> int:
    """Position of a texture in TEXTURES.

    Parameters
    ----------
    texture
        USDA texture class in the words of the site book, such as `sandy_loam`.
    """
    try:
        return TEXTURES.index(texture)
    except ValueError:
        raise UnknownTexture(
            f"{texture!r} is no texture class; expected one of {', '.join(TEXTURES)}"
        ) from None


def water_content(soil: IntArray | int, tension_kpa: npt.ArrayLike) -> FloatArray:
    """Water content [m3/m3] at a tension, never above saturation (Clapp and Hornberger 1978, Eq. 1).

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    tension_kpa
        Soil water tension [kPa], above 0, (n,) or one.
    """
    ratio = np.asarray(tension_kpa, dtype=np.float64) / _SATURATION_KPA[soil]
    return np.asarray(_SATURATION[soil] * np.minimum(1.0, ratio ** (-1.0 / _B[soil])))


def field_capacity(soil: IntArray | int, field_capacity_kpa: float = FIELD_CAPACITY_KPA) -> FloatArray:
    """Water content at field capacity [m3/m3].

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    field_capacity_kpa
        Tension called field capacity [kPa], 6 to 15.
    """
    return water_content(soil, _checked(field_capacity_kpa))


def wilting_point(soil: IntArray | int) -> FloatArray:
    """Water content at the wilting point, 1,500 kPa [m3/m3].

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    """
    return water_content(soil, WILTING_POINT_KPA)


def available_water_mm(
    soil: IntArray | int, root_depth_mm: npt.ArrayLike, field_capacity_kpa: float = FIELD_CAPACITY_KPA
) -> FloatArray:
    """Total available water of the root zone [mm], TAW of FAO-56 Eq. 82 (Allen et al. 1998).

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    root_depth_mm
        Root depth [mm], (n,) or one.
    field_capacity_kpa
        Tension called field capacity [kPa], 6 to 15.
    """
    return held_between_mm(field_capacity(soil, field_capacity_kpa), wilting_point(soil), root_depth_mm)


def held_between_mm(
    field_capacity: npt.ArrayLike, wilting_point: npt.ArrayLike, root_depth_mm: npt.ArrayLike
) -> FloatArray:
    """Water that a root zone holds between two contents [mm], FAO-56 Eq. 82 (Allen et al. 1998).

    Parameters
    ----------
    field_capacity, wilting_point
        Water contents [m3/m3], (n,) or one.
    root_depth_mm
        Root depth [mm], (n,) or one.
    """
    held = np.asarray(field_capacity, dtype=np.float64) - np.asarray(wilting_point, dtype=np.float64)
    return np.asarray(held * np.asarray(root_depth_mm, dtype=np.float64))


def allowed_depletion_mm(available_mm: npt.ArrayLike, fraction: npt.ArrayLike) -> FloatArray:
    """What of the available water may be gone [mm], RAW of FAO-56 Eq. 83 (Allen et al. 1998).

    Parameters
    ----------
    available_mm
        Total available water [mm], (n,) or one.
    fraction
        Share that may be gone [1], (n,) or one.
    """
    return np.asarray(
        np.asarray(available_mm, dtype=np.float64) * np.asarray(fraction, dtype=np.float64), dtype=np.float64
    )


def depletion_fraction(
    soil: IntArray | int, tension_kpa: npt.ArrayLike, field_capacity_kpa: float = FIELD_CAPACITY_KPA
) -> FloatArray:
    """Share of the available water that is gone at a tension [1]; below 0 where wetter than field capacity.

    f = [1 - (psi/FC)^(-1/b)] / [1 - (1500/FC)^(-1/b)], exact on a Clapp-Hornberger curve (own derivation).

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    tension_kpa
        Soil water tension [kPa], above 0, (n,) or one.
    field_capacity_kpa
        Tension called field capacity [kPa], 6 to 15.
    """
    tension = np.asarray(tension_kpa, dtype=np.float64)
    gone = 1.0 - (tension / _checked(field_capacity_kpa)) ** (-1.0 / _B[soil])
    return np.asarray(gone / _share_held(soil, field_capacity_kpa))


def threshold_depletion_mm(
    soil: IntArray | int,
    threshold_kpa: npt.ArrayLike,
    root_depth_mm: npt.ArrayLike,
    field_capacity_kpa: float = FIELD_CAPACITY_KPA,
) -> FloatArray:
    """Depletion [mm] at which a sensor lets the next start through; NaN where the threshold is NaN.

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    threshold_kpa
        Threshold [kPa], above field capacity; NaN: not known; (n,) or one.
    root_depth_mm
        Root depth [mm], (n,) or one.
    field_capacity_kpa
        Tension called field capacity [kPa], 6 to 15.
    """
    threshold = np.asarray(threshold_kpa, dtype=np.float64)
    if np.any(threshold <= field_capacity_kpa):
        raise ThresholdTooWet(
            f"threshold {np.nanmin(threshold):g} kPa is at or wetter than field capacity"
            f" ({field_capacity_kpa:g} kPa): water at that tension drains away; choose a drier setting"
        )
    fraction = depletion_fraction(soil, threshold, field_capacity_kpa)
    return np.asarray(fraction * available_water_mm(soil, root_depth_mm, field_capacity_kpa))


def tension_kpa(
    soil: IntArray | int,
    depletion_mm: npt.ArrayLike,
    root_depth_mm: npt.ArrayLike,
    field_capacity_kpa: float = FIELD_CAPACITY_KPA,
) -> FloatArray:
    """Soil water tension [kPa] at a depletion, the inverse of `threshold_depletion_mm`.

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    depletion_mm
        Depletion of the root zone [mm], 0 to total available water, (n,) or one.
    root_depth_mm
        Root depth [mm], (n,) or one.
    field_capacity_kpa
        Tension called field capacity [kPa], 6 to 15.
    """
    depletion = np.asarray(depletion_mm, dtype=np.float64)
    available = available_water_mm(soil, root_depth_mm, field_capacity_kpa)
    if np.any(depletion < 0) or np.any(depletion > available * (1 + 1e-9)):
        raise ValueError("depletion lies between 0 and the total available water")
    held = 1.0 - depletion / available * _share_held(soil, field_capacity_kpa)
    return np.asarray(_checked(field_capacity_kpa) * held ** (-_B[soil]))


def depletion_fraction_sd(soil: IntArray | int) -> FloatArray:
    """Standard deviation of `depletion_fraction` for a soil known only by its texture [1].

    Half the range over five published soil sources, and a fifth of error in the tension, as independent.

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    """
    return np.asarray(np.hypot(_FRACTION_SD[soil], TENSION_READING_SD))


def intake_rate_mm_h(soil: IntArray | int) -> FloatArray:
    """Steady intake rate of uncompacted soil [mm/h] (Irrigation Association 2005).

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    """
    return np.asarray(_INTAKE_MM_H[soil])


def surface_accumulation_mm(soil: IntArray | int, slope_pct: npt.ArrayLike) -> FloatArray:
    """Water that may stand on the surface before it runs off [mm] (Irrigation Association 2005).

    Parameters
    ----------
    soil
        Position in TEXTURES, (n,) or one.
    slope_pct
        Slope [%], (n,) or one. The printed classes 0-3, 4-6, 7-12 and 13 and more are read as up to 3, 6, 12.
    """
    steepness = np.searchsorted(_SLOPE_CLASSES_PCT, np.asarray(slope_pct, dtype=np.float64))
    return np.asarray(_ACCUMULATION_MM[steepness, soil])


def _share_held(soil: IntArray | int, field_capacity_kpa: float) -> FloatArray:
    """Available water as a share of the water held at field capacity [1]."""
    return np.asarray(1.0 - (WILTING_POINT_KPA / field_capacity_kpa) ** (-1.0 / _B[soil]))


def _checked(field_capacity_kpa: float) -> float:
    """The tension of field capacity [kPa], if it is a plausible one."""
    low, high = FIELD_CAPACITY_RANGE_KPA
    if not low <= field_capacity_kpa <= high:
        raise ValueError(
            f"field capacity is taken between {low:g} and {high:g} kPa, got {field_capacity_kpa:g}"
        )
    return field_capacity_kpa
