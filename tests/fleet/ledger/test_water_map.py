"""The spikes of the water map, alone and together."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from fleet.charts.water_map import MOST, TALLEST_PX, Spikes, spike_map

NEED = 100.0


def spikes_of(gardens: Sequence[tuple[float, float, float, str]]) -> Spikes:
    """Gardens by longitude, latitude, use over a need of 100 and code."""
    east, north, over = (np.array([garden[n] for garden in gardens], dtype=np.float64) for n in range(3))
    codes = np.array([garden[3] for garden in gardens], dtype=np.object_)
    return Spikes(east, north, over + NEED, np.full(over.shape, NEED), codes)


def _heights(svg: str, name: str) -> list[float]:
    """Height of each spike of a class [px]."""
    paths = re.findall(rf'class="{name}" d="M[\d.]+ ([\d.-]+)L[\d.]+ ([\d.-]+)L', svg)
    return [round(float(foot) - float(tip), 1) for foot, tip in paths]


def test_spikes_stand_in_proportion_and_the_furthest_over_are_named() -> None:
    spikes = [
        (-104.70, 41.20, 100.0, "CB-14"),
        (-104.71, 41.21, -50.0, "MR-20"),
        (-104.72, 41.22, np.nan, "QT-03"),
    ]

    svg = str(spike_map(spikes_of(spikes), is_ratio=False))

    assert _heights(svg, "spike-up") == [float(TALLEST_PX)]
    assert _heights(svg, "spike-dn") == [-TALLEST_PX / 2]
    assert svg.count("spike-few") == 1
    assert re.findall(r">([A-Z]{2}-\d+)</text>", svg) == ["CB-14"]


def test_a_name_is_text_never_markup() -> None:
    svg = str(spike_map(spikes_of([(-104.7, 41.2, 1.0, "<script>alert(1)</script>")]), is_ratio=False))

    assert "<script>" not in svg
    assert "&lt;script&gt;" in svg


def test_gardens_of_a_large_book_share_spikes_and_no_litre_is_lost() -> None:
    spikes = [(-104.7, 41.2, 1.0, f"A-{n}") for n in range(MOST)]
    spikes += [(-104.5, 41.2, 1.0, f"B-{n}") for n in range(MOST // 2)]

    svg = str(spike_map(spikes_of(spikes), is_ratio=False))

    assert _heights(svg, "spike-up") == [float(TALLEST_PX), TALLEST_PX / 2]
    assert "each square one spike" in svg


def test_a_book_without_gardens_draws_nothing() -> None:
    assert spike_map(spikes_of([]), is_ratio=True) == ""


def test_by_ratio_a_spike_doubles_its_use_for_each_half_of_its_height() -> None:
    most = TALLEST_PX
    gardens: list[tuple[float, float]] = [
        (4, most),
        (2, most / 2),
        (1, 0.0),
        (0.5, -most / 2),
        (0.25, -most),
        (9, most),
        (0, -most),
    ]
    for ratio, height in gardens:
        svg = str(spike_map(spikes_of([(-104.7, 41.2, NEED * ratio - NEED, "CB-14")]), is_ratio=True))
        assert _heights(svg, "spike-up" if ratio >= 1 else "spike-dn") == [height]


def test_by_ratio_a_square_has_the_ratio_of_its_sums() -> None:
    half = MOST // 2 + 1
    spikes = [(-104.7, 41.2, 3 * NEED, "A")] * half + [(-104.7, 41.2, -NEED, "B")] * half

    svg = str(spike_map(spikes_of(spikes), is_ratio=True))

    assert _heights(svg, "spike-up") == [TALLEST_PX / 2]


def test_by_ratio_nothing_is_told_of_a_garden_that_needed_nothing() -> None:
    east, north, used, need = (np.array([value]) for value in (-104.7, 41.2, 5.0, 0.0))
    none = Spikes(east, north, used, need, np.array(["CB-14"], dtype=np.object_))

    assert str(spike_map(none, is_ratio=True)).count("spike-few") == 1
