"""One curve per soil, against its source and the printed spread over other sources."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.calc import landscape, soil
from sites.calc.reference_tables import table_rows
from tests.sites.search.cases import garden

# Clapp and Hornberger 1978, Water Resour. Res. 14:601-604, Table 2, through the exact fraction formula with
# field capacity at 10 kPa: share of available water gone at 20, 30, 40, 60, 80 kPa (computed, two digits).
FRACTIONS = {
    "sand": (0.22, 0.33, 0.41, 0.50, 0.57),
    "loamy_sand": (0.21, 0.33, 0.40, 0.49, 0.55),
    "sandy_loam": (0.21, 0.31, 0.38, 0.48, 0.54),
    "loam": (0.20, 0.30, 0.37, 0.47, 0.53),
    "silt_loam": (0.20, 0.31, 0.38, 0.47, 0.53),
    "sandy_clay_loam": (0.18, 0.28, 0.35, 0.44, 0.50),
    "clay_loam": (0.18, 0.27, 0.34, 0.43, 0.49),
    "silty_clay_loam": (0.18, 0.28, 0.34, 0.43, 0.49),
    "sandy_clay": (0.17, 0.26, 0.33, 0.41, 0.47),
    "silty_clay": (0.17, 0.26, 0.33, 0.41, 0.47),
    "clay": (0.17, 0.26, 0.32, 0.41, 0.47),
}
AVAILABLE_MM_A_METRE = {
    "sand": 166, "loamy_sand": 161, "sandy_loam": 203, "loam": 237, "silt_loam": 282, "sandy_clay_loam": 179,
    "clay_loam": 200, "silty_clay_loam": 198, "sandy_clay": 136, "silty_clay": 175, "clay": 158,
}  # fmt: skip
textures = st.integers(0, len(soil.TEXTURES) - 1)


@pytest.mark.parametrize("texture", FRACTIONS)
def test_fraction_gone_agrees_with_the_table_of_the_curve(texture: str) -> None:
    found = soil.depletion_fraction(soil.texture_index(texture), np.array([20.0, 30, 40, 60, 80]))

    np.testing.assert_allclose(found, FRACTIONS[texture], atol=0.0051)


@pytest.mark.parametrize("texture", AVAILABLE_MM_A_METRE)
def test_available_water_agrees_with_the_table_of_the_curve(texture: str) -> None:
    found = soil.available_water_mm(soil.texture_index(texture), 1000.0)

    assert found == pytest.approx(AVAILABLE_MM_A_METRE[texture], abs=0.5)


@pytest.mark.parametrize(
    ("texture", "kpa", "depletion_mm"),
    [("sand", 16, 3.8), ("sandy_loam", 28, 9.0), ("loam", 42, 13.7), ("clay", 60, 9.7)],
)
def test_threshold_depletion_of_a_150_mm_root_zone(texture: str, kpa: float, depletion_mm: float) -> None:
    # Check values computed from Clapp and Hornberger 1978 with field capacity at 10 kPa.
    found = soil.threshold_depletion_mm(soil.texture_index(texture), kpa, 150.0)

    assert found == pytest.approx(depletion_mm, abs=0.05)


@pytest.mark.parametrize(
    ("texture", "at_30", "at_40", "at_50"),
    [("sand", 26, 39, 59), ("sandy_loam", 28, 43, 66), ("loam", 29, 45, 70), ("clay", 36, 58, 93)],
)
def test_tension_at_shares_of_depletion(texture: str, at_30: float, at_40: float, at_50: float) -> None:
    # The same curve read backwards: kPa at 30, 40 and 50 % depletion (computed, whole kPa).
    position = soil.texture_index(texture)
    available = soil.available_water_mm(position, 150.0)

    found = [float(soil.tension_kpa(position, share * available, 150.0)) for share in (0.3, 0.4, 0.5)]

    np.testing.assert_allclose(found, [at_30, at_40, at_50], atol=0.5)


@given(texture=textures, kpa=st.floats(10.5, 1500), depth=st.floats(50, 900))
def test_threshold_and_depletion_are_inverse(texture: int, kpa: float, depth: float) -> None:
    depletion = soil.threshold_depletion_mm(texture, kpa, depth)

    assert float(soil.tension_kpa(texture, depletion, depth)) == pytest.approx(kpa, rel=1e-6)


@given(texture=textures, kpa=st.floats(10.5, 1400), drier=st.floats(1.01, 1.07))
def test_a_drier_threshold_lets_more_water_be_used(texture: int, kpa: float, drier: float) -> None:
    fractions = soil.depletion_fraction(texture, np.array([kpa, kpa * drier]))

    assert 0 < fractions[0] < fractions[1] <= 1.0 + 1e-9


def test_fraction_is_the_same_as_reading_the_curve_twice() -> None:
    position = soil.texture_index("loam")
    held = soil.field_capacity(position) - soil.wilting_point(position)
    gone = soil.field_capacity(position) - soil.water_content(position, 42.0)

    assert float(soil.depletion_fraction(position, 42.0)) == pytest.approx(float(gone / held), rel=1e-12)


@pytest.mark.parametrize("kpa", [4.0, 10.0])
def test_a_threshold_at_or_wetter_than_field_capacity_is_refused_in_plain_words(kpa: float) -> None:
    with pytest.raises(soil.ThresholdTooWet, match="at or wetter than field capacity"):
        soil.threshold_depletion_mm(soil.texture_index("loam"), np.array([42.0, kpa]), 150.0)


def test_an_unknown_threshold_stays_unknown() -> None:
    assert np.isnan(soil.threshold_depletion_mm(soil.texture_index("loam"), np.array([np.nan]), 150.0))[0]


@pytest.mark.parametrize("kpa", [5.9, 15.1, 33.0])
def test_field_capacity_outside_its_range_is_refused(kpa: float) -> None:
    with pytest.raises(ValueError, match="between 6 and 15 kPa"):
        soil.field_capacity(0, kpa)


def test_water_content_never_exceeds_saturation() -> None:
    assert float(soil.water_content(soil.texture_index("clay"), 0.01)) == pytest.approx(0.482)


def test_an_unknown_texture_is_refused_with_the_known_ones() -> None:
    with pytest.raises(soil.UnknownTexture, match="sandy_loam"):
        soil.texture_index("gravel")


def test_depletion_outside_the_root_zone_has_no_tension() -> None:
    with pytest.raises(ValueError, match="between 0 and the total"):
        soil.tension_kpa(soil.texture_index("loam"), 60.0, 150.0)


def test_sand_is_known_worse_than_loam() -> None:
    # Half the range over five soil sources: 0.25 sand, 0.10 loam; 0.05 for the reading.
    sand, loam = soil.texture_index("sand"), soil.texture_index("loam")

    np.testing.assert_allclose(
        soil.depletion_fraction_sd(np.array([sand, loam])), [np.hypot(0.25, 0.05), np.hypot(0.10, 0.05)]
    )


@pytest.mark.parametrize(
    ("texture", "slope", "inches"),
    [
        ("loam", 6, 0.25), ("silty_clay", 10, 0.16), ("loamy_sand", 8, 0.26), ("sandy_loam", 12, 0.24),
        ("clay_loam", 2, 0.26), ("clay", 20, 0.10), ("sand", 0, 0.40), ("sand", 3.1, 0.35),
    ],
)  # fmt: skip
def test_surface_accumulation_by_soil_and_slope(texture: str, slope: float, inches: float) -> None:
    # Irrigation Association 2005; the first six are also the zones of the SWAT protocol of 2008.
    found = soil.surface_accumulation_mm(soil.texture_index(texture), slope)

    assert found == pytest.approx(25.4 * inches)


def test_printed_inches_and_stored_millimetres_of_the_intake_table_agree() -> None:
    for row in table_rows("soil_intake"):
        assert float(row["intake_rate_mm_h"]) == pytest.approx(25.4 * float(row["intake_rate_in_h"]))


def test_printed_centimetres_and_stored_kilopascals_of_the_retention_table_agree() -> None:
    # 1 cm of water is 0.0980665 kPa.
    for row in table_rows("soil_retention"):
        assert float(row["saturation_tension_kpa"]) == pytest.approx(
            0.0980665 * float(row["saturation_tension_cm"]), abs=1e-4
        )


@pytest.mark.parametrize(
    "name", ["soil_retention", "soil_intake", "plants", "sun", "heads", "lawn_curve_numbers"]
)
def test_every_row_of_every_table_names_its_source(name: str) -> None:
    assert all(row["source"].strip() for row in table_rows(name))


def test_what_roots_hold_and_may_lose_in_a_zone_follow_equations_82_and_83() -> None:
    # FAO-56 (Allen et al. 1998), Eq. 82 and 83, on a zone's own field capacity, wilting point and roots.
    zones = garden(plants=("cool_turf", "shrubs")).zones
    held = (zones.field_capacity - zones.wilting_point) * zones.root_depth_mm
    fraction = landscape.allowed_depletion_fraction(zones.plant)

    assert zones.total_available_water_mm == pytest.approx(held)
    assert zones.allowed_depletion_mm == pytest.approx(held * fraction)
