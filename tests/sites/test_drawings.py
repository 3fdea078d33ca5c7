"""Drawings made on the server: the lot, and a zone's water."""

from __future__ import annotations

import re
from datetime import date, timedelta
from html import unescape
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely

from sites.charts import WaterStack, depletion_bar_svg, nice_top, water_stack_svg
from sites.lot_map import _LABEL_PX, garden_svg
from sites.selectors.garden import Thing, in_degrees, in_metres
from sites.start_ticks import StartsRow

HOME = (-104.7, 41.2)


def _things() -> list[Thing]:
    """A lot of 20 x 30 m with a lawn, a house and a sensor."""
    shapes = {
        "lot": shapely.box(0, 0, 20, 30),
        "structure": shapely.box(6, 10, 14, 20),
        "zone": shapely.box(2, 2, 18, 8),
        "sensor": shapely.Point(10, 5),
    }
    facts: dict[str, dict[str, object]] = {
        "structure": {"type": "building"},
        "zone": {
            "station": 3,
            "name": "<b>&lawn",
            "plant": "cool_turf",
            "controller": "A",
            "is_governing": True,
        },
        "sensor": {"label": "Sensor"},
    }
    return [Thing(kind, in_degrees(shape, HOME), facts.get(kind, {})) for kind, shape in shapes.items()]


def _stack(**changes: object) -> WaterStack:
    days = [date(2026, 5, 1) + timedelta(days=n) for n in range(30)]
    columns: dict[str, object] = {
        "days": days,
        "rain_mm": np.where(np.arange(30) == 12, 20.0, 0.0),
        "landscape_et_mm": np.full(30, 4.0),
        "depletion_mm": np.linspace(0, 29, 30),
        "depletion_sd_mm": np.full(30, 2.0),
        "is_filled": np.arange(30) == 4,
        "allowed_mm": 15.0,
        "threshold_mm": 11.0,
        "starts": [StartsRow(0, 1, 2, 1, 1), StartsRow(5, 14, 2, 6, 0)],
        **changes,
    }
    return WaterStack(**columns)  # type: ignore[arg-type]


def test_metres_and_degrees_are_inverse_and_true_to_a_hand_breadth() -> None:
    # 1 degree of latitude is 111.05 km at 41.2 N on WGS 84: the sphere taken here is 0.13 % longer.
    there = in_degrees(shapely.Point(30.0, 40.0), HOME)

    back = in_metres(there, HOME)
    np.testing.assert_allclose(shapely.get_coordinates(back), [[30.0, 40.0]], atol=1e-6)
    assert (shapely.get_y(there) - HOME[1]) * 111_050 == pytest.approx(40.0, rel=0.002)


def test_the_lot_map_is_well_formed_carries_no_style_and_escapes_names() -> None:
    drawing = garden_svg(_things(), 'CB"14', 400, 500)

    ElementTree.fromstring(drawing)  # noqa: S314
    assert "style" not in drawing
    assert "&lt;b&gt;&amp;lawn" in drawing
    assert 'class="z z-cool_turf"' in drawing
    assert 'class="gov"' in drawing
    assert "#d-sensor" in drawing


def test_everything_of_the_lot_lies_within_the_sheet_north_up() -> None:
    drawing = garden_svg(_things(), "CB-14", 400, 500, with_labels=False)

    lot = re.search(r'class="lot" d="([^"]+)"', drawing)
    house = re.search(r'class="structure structure-building" d="([^"]+)"', drawing)
    zone = re.search(r'class="z z-cool_turf" d="([^"]+)"', drawing)
    assert lot is not None
    assert house is not None
    assert zone is not None
    numbers = [float(number) for number in re.findall(r"[\d.]+", lot.group(1))]
    assert 0 <= min(numbers) <= max(numbers) <= 500
    tops = [min(float(y) for y in re.findall(r" ([\d.]+)", found.group(1))) for found in (house, zone)]
    assert tops[0] < tops[1]  # the house stands north of the lawn
    assert "lawn" not in drawing.replace("aria-label", "")


def test_no_name_runs_off_the_paper() -> None:
    long_name = "backflow assembly behind the shed"
    edges = [
        Thing("valve_box", in_degrees(shapely.Point(x, 15), HOME), {"label": long_name}) for x in (0, 20)
    ]

    drawing = garden_svg([*_things(), *edges], "CB-14", 300, 400)

    spans = []
    for x, anchor, text in re.findall(
        r'<text class="m-lab" x="([-\d.]+)" y="[-\d.]+"( text-anchor="\w+")?>([^<]+)<', drawing
    ):
        wide = _LABEL_PX * len(unescape(text))
        left = float(x) - {"": 0.0, ' text-anchor="end"': wide}.get(anchor, wide / 2)
        spans.append((left, left + wide))
    assert spans
    assert all(left >= 0 and right <= 300 for left, right in spans)


def test_a_garden_without_shapes_gives_no_drawing() -> None:
    assert garden_svg([], "CB-14", 400, 500) == ""


def test_the_plot_is_well_formed_and_has_a_mark_for_each_start() -> None:
    plot = water_stack_svg(_stack())

    ElementTree.fromstring(plot)  # noqa: S314
    assert "style" not in plot
    assert plot.count('class="p-run"') == 2 + 1
    assert plot.count('class="p-byp"') == 1 + 1
    assert plot.count('class="p-skip"') == 1
    assert plot.count('class="p-rain"') == 1
    assert 'class="p-hatch"' in plot
    assert "2 of 8 ran" in plot
    assert "allowed 15.0" in plot


def test_unknown_days_leave_the_line_open() -> None:
    depletion = np.linspace(0, 29, 30)
    depletion[10:13] = np.nan

    plot = water_stack_svg(_stack(depletion_mm=depletion))

    assert plot.count('class="p-dep"') == 2
    assert "nan" not in plot


def test_without_any_known_day_there_is_no_plot() -> None:
    assert water_stack_svg(_stack(depletion_mm=np.full(30, np.nan))) == ""


def test_a_reader_in_inches_gets_inches() -> None:
    plot = water_stack_svg(_stack(per_mm=1 / 25.4, unit="in"))

    assert "Rain, in" in plot
    assert "allowed 0.59" in plot


def test_a_zone_without_a_sensor_has_no_threshold() -> None:
    assert "p-thr" not in water_stack_svg(_stack(threshold_mm=float("nan")))


@pytest.mark.parametrize(("highest", "top"), [(0.0, 1.0), (7.0, 8.0), (26.0, 30.0), (47.0, 50.0), (1.1, 1.5)])
def test_an_axis_ends_at_the_next_round_number(highest: float, top: float) -> None:
    assert nice_top(highest) == pytest.approx(top)


def test_a_bar_beyond_the_allowed_depletion_is_marked() -> None:
    assert "hb over" in depletion_bar_svg(18.0, 13.5)
    assert "hb light" in depletion_bar_svg(6.0, 13.5)
    assert depletion_bar_svg(float("nan"), 13.5) == ""


def test_the_scale_bar_speaks_feet_to_a_us_reader() -> None:
    assert re.search(r">\d+ m</text>", garden_svg(_things(), "CB-14", 400, 500))
    assert re.search(r">\d+ ft</text>", garden_svg(_things(), "CB-14", 400, 500, is_us=True))


def test_a_reader_without_settings_gets_both_bars_of_their_true_length() -> None:
    drawn = garden_svg(_things(), "CB-14", 400, 500, is_us=None)

    lengths = [float(found) for found in re.findall(r'class="scale" d="M\S+ \S+?v4h([\d.]+)v-4"', drawn)]
    told = [(int(number), unit) for number, unit in re.findall(r">(\d+) (m|ft)</text>", drawn)]
    assert [unit for _, unit in told] == ["m", "ft"]
    px_a_metre = [
        length / (number * (0.3048 if unit == "ft" else 1.0))
        for length, (number, unit) in zip(lengths, told, strict=True)
    ]
    assert px_a_metre[0] == pytest.approx(px_a_metre[1], rel=0.01)
