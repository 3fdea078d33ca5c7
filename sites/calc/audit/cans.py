"""What a catch-can audit tells of a zone: uniformity, precipitation rate, run-time multiplier."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


class TooFewCansError(ValueError):
    """Fewer than four cans have no lowest quarter."""


def quarter_size(cans: int) -> int:
    """Cans in the lowest quarter [1]: a quarter of them rounded to the nearest whole number, halves up.

    Publications differ (15 cans: 4 by rounding, 3 by cutting off); a can count divisible by 4 avoids it.

    Parameters
    ----------
    cans
        Number of cans [1], at least 4.
    """
    if cans < 4:
        raise TooFewCansError(f"{cans} cans: at least 4 are needed, better 24 or another multiple of 4")
    return int(np.floor(cans / 4 + 0.5))


def low_quarter_uniformity(catch: npt.ArrayLike) -> float:
    """Low-quarter distribution uniformity DUlq [1]: mean of the lowest quarter over the mean of all.

    Merriam and Keller 1978, Farm Irrigation System Evaluation.

    Parameters
    ----------
    catch
        Catch of each can, any one unit of volume or depth [mL], (cans,).
    """
    sorted_catch = np.sort(_checked(catch))
    return float(sorted_catch[: quarter_size(sorted_catch.size)].mean() / sorted_catch.mean())


def low_half_uniformity(catch: npt.ArrayLike) -> float:
    """Low-half distribution uniformity [1]: mean of the lower half over the mean of all.

    Parameters
    ----------
    catch
        Catch of each can, any one unit of volume or depth [mL], (cans,); an odd can count rounds up.
    """
    sorted_catch = np.sort(_checked(catch))
    return float(sorted_catch[: (sorted_catch.size + 1) // 2].mean() / sorted_catch.mean())


def uniformity_coefficient(catch: npt.ArrayLike) -> float:
    """Uniformity coefficient CU [1] of Christiansen 1942: 1 - sum of deviations from the mean / sum.

    Parameters
    ----------
    catch
        Catch of each can, any one unit of volume or depth [mL], (cans,).
    """
    cans = _checked(catch)
    return float(1.0 - np.abs(cans - cans.mean()).sum() / cans.sum())


def precipitation_rate_from_flow_mm_h(flow_l_min: npt.ArrayLike, area_m2: npt.ArrayLike) -> FloatArray:
    """Gross precipitation rate [mm/h]: 60 x flow / area, since 1 L on 1 m2 is 1 mm.

    Parameters
    ----------
    flow_l_min
        Flow of the zone [L/min], (n,).
    area_m2
        Planted area [m2], above 0, (n,).
    """
    return np.asarray(60.0 * np.asarray(flow_l_min, dtype=np.float64) / np.asarray(area_m2))


def precipitation_rate_from_cans_mm_h(
    catch_ml: npt.ArrayLike, run_min: float, throat_area_cm2: float
) -> float:
    """Net precipitation rate [mm/h] that the cans caught (Irrigation Association audit worksheets).

    Parameters
    ----------
    catch_ml
        Catch of each can [mL], (cans,).
    run_min
        Minutes that the zone ran [min], above 0.
    throat_area_cm2
        Opening of a can [cm2], above 0.
    """
    if run_min <= 0 or throat_area_cm2 <= 0:
        raise ValueError("minutes and the opening of a can must be above 0")
    depth_mm = 10.0 * _checked(catch_ml).mean() / throat_area_cm2  # 1 mL on 1 cm2 is 10 mm
    return float(60.0 * depth_mm / run_min)


def run_time_multiplier(distribution_uniformity: npt.ArrayLike) -> FloatArray:
    """Run-time multiplier [1], 1 / (0.4 + 0.6 DUlq) (Mecham 2010, ASABE paper IRR10-10040).

    Parameters
    ----------
    distribution_uniformity
        Low-quarter uniformity [1], above 0 to 1, (n,).
    """
    return np.asarray(1.0 / (0.4 + 0.6 * np.asarray(distribution_uniformity, dtype=np.float64)))


def _checked(catch: npt.ArrayLike) -> FloatArray:
    """The cans, if they caught anything at all."""
    cans = np.asarray(catch, dtype=np.float64).ravel()
    if cans.size == 0 or not np.all(cans >= 0) or cans.sum() <= 0:
        raise ValueError("every can needs a catch of 0 or more, and some water must be caught")
    return cans
