"""What plants, sun and heads stand for where the site book gives no measured value. All of it is assumed.

Landscape coefficients are the plant factors of ANSI/ASABE S623.1 (2017), which are meant for an established
planting of acceptable looks. Each row of `sites/tables` names its source.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from sites.calc.reference_tables import table_column, table_rows

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

PLANTS: tuple[str, ...] = tuple(row["plant"] for row in table_rows("plants"))
SUNS: tuple[str, ...] = tuple(row["sun"] for row in table_rows("sun"))
HEADS: tuple[str, ...] = tuple(row["head"] for row in table_rows("heads"))
# Below this ratio of yearly rain to yearly reference ET, S623.1's factors of a dry climate are taken.
DRY_CLIMATE_BELOW = 0.65

_COEFFICIENT = np.stack(
    [
        table_column("plants", "plant", PLANTS, "coefficient_wet_climate"),
        table_column("plants", "plant", PLANTS, "coefficient_dry_climate"),
    ]
)
_SUN_FACTOR = table_column("sun", "sun", SUNS, "coefficient_factor")
_ROOT_DEPTH_MM = table_column("plants", "plant", PLANTS, "root_depth_mm")
_ALLOWED_FRACTION = table_column("plants", "plant", PLANTS, "allowed_depletion_fraction")
_PRECIPITATION_RATE_MM_H = table_column("heads", "head", HEADS, "precipitation_rate_mm_h")
_UNIFORMITY = table_column("heads", "head", HEADS, "distribution_uniformity")


def is_dry_climate(yearly_rain_mm: npt.ArrayLike, yearly_reference_et_mm: npt.ArrayLike) -> BoolArray:
    """Whether a place counts as dry: yearly rain below 0.65 of yearly reference ET; unknown counts as dry.

    Parameters
    ----------
    yearly_rain_mm
        Mean yearly rain [mm], (n,); NaN = unknown.
    yearly_reference_et_mm
        Mean yearly reference ET [mm], (n,); NaN = unknown.
    """
    rain = np.asarray(yearly_rain_mm, dtype=np.float64)
    demand = np.asarray(yearly_reference_et_mm, dtype=np.float64)
    return np.asarray(~(rain >= DRY_CLIMATE_BELOW * demand))


def landscape_coefficient(plant: IntArray | int, sun: IntArray | int, is_dry: BoolArray | bool) -> FloatArray:
    """Assumed landscape coefficient KL [1], the share of reference ET that a planting needs.

    Parameters
    ----------
    plant
        Position in PLANTS, (n,) or one.
    sun
        Position in SUNS, (n,) or one; shade lowers the coefficient.
    is_dry
        Whether the climate is dry, (n,) or one.
    """
    return np.asarray(_COEFFICIENT[np.asarray(is_dry, dtype=np.int64), plant] * _SUN_FACTOR[sun])


def root_depth_mm(plant: IntArray | int) -> FloatArray:
    """Assumed working root depth [mm].

    Parameters
    ----------
    plant
        Position in PLANTS, (n,) or one.
    """
    return np.asarray(_ROOT_DEPTH_MM[plant])


def allowed_depletion_fraction(plant: IntArray | int) -> FloatArray:
    """Share of the available water that may be used before the plant suffers [1], p of FAO-56 Eq. 83.

    Parameters
    ----------
    plant
        Position in PLANTS, (n,) or one.
    """
    return np.asarray(_ALLOWED_FRACTION[plant])


def precipitation_rate_mm_h(head: IntArray | int) -> FloatArray:
    """Assumed precipitation rate of a class of heads [mm/h].

    Parameters
    ----------
    head
        Position in HEADS, (n,) or one.
    """
    return np.asarray(_PRECIPITATION_RATE_MM_H[head])


def distribution_uniformity(head: IntArray | int) -> FloatArray:
    """Assumed low-quarter distribution uniformity of a class of heads [1].

    Parameters
    ----------
    head
        Position in HEADS, (n,) or one.
    """
    return np.asarray(_UNIFORMITY[head])
