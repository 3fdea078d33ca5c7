"""The invented company's people, prices, rules, contracts and promised visits, as rows of files."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

import numpy as np
import shapely

from fleet.demo.book import DemoSite
from fleet.demo.ground_plan import DEPOT_M, YARD_M, lonlat

Rows = list[dict[str, object]]
COMPANY: Final = "Marlow & Finch Garden Water"
# code, name, login, starts at the yard across the river, shift, workdays, skills
PEOPLE: Final = (
    ("T1", "Ines Calder", "ines", False, ("07:30", "16:30"), "mon,tue,wed,thu,fri", "wiring;dig;audit"),
    ("T2", "Tomas Rudd", "tomas", False, ("07:30", "16:30"), "mon,tue,wed,thu,fri", "drip;audit;program"),
    (
        "T3",
        "Priya Nandan",
        "priya",
        True,
        ("08:00", "17:00"),
        "mon,tue,wed,thu,fri",
        "backflow;audit;program",
    ),
    ("T4", "Joe Whitlock", "joe", False, ("07:00", "15:30"), "mon,tue,wed,thu", "dig;repair;wiring"),
    ("T5", "Aiko Brandt", "aiko", True, ("07:30", "16:30"), "mon,tue,wed,thu,fri", "wiring;program;audit"),
    (
        "T6",
        "Samuel Oduya",
        "samuel",
        False,
        ("07:30", "16:30"),
        "tue,wed,thu,fri,sat",
        "audit;program;repair",
    ),
    ("T7", "Lena Marsh", "lena", True, ("08:00", "16:00"), "mon,wed,thu,fri", "drip;program;wiring"),
)
OFFICE: Final = (
    ("hana", "Hana", "Voss", "dispatcher"),
    ("ruth", "Ruth", "Ansel", "manager"),
)


def technician_rows() -> Rows:
    """Seven people, from the depot or from the yard across the river."""
    rows: Rows = []
    for code, name, login, at_yard, shift, workdays, skills in PEOPLE:
        spot = lonlat(shapely.Point(*(YARD_M if at_yard else DEPOT_M)))
        rows.append(
            {
                "technician": code,
                "name": name,
                "start_latitude": round(spot.y, 6),
                "start_longitude": round(spot.x, 6),
                "shift_start": shift[0],
                "shift_end": shift[1],
                "workdays": workdays,
                "skills": skills,
                "break_min": 30,
                "login": login,
            }
        )
    return rows


def tariff_rows(today: date) -> Rows:
    """Two suppliers: one flat, one in three tiers, both dearer since last year."""
    rows: Rows = []
    for years_back, rise in ((4, 1.0), (1, 1.08)):
        start = date(today.year - years_back, 1, 1).isoformat()
        rows.append(
            {
                "supplier": "Wend Valley Water",
                "from": start,
                "tier_from_m3": 0,
                "price_per_m3": round(1.85 * rise, 3),
                "currency": "USD",
            }
        )
        for tier, price in ((0, 1.2), (20, 2.1), (60, 3.9)):
            rows.append(
                {
                    "supplier": "Hillside Mutual",
                    "from": start,
                    "tier_from_m3": tier,
                    "price_per_m3": round(price * rise, 3),
                    "currency": "USD",
                }
            )
    return rows


def rules(today: date) -> dict[str, object]:
    """The two suppliers' watering rules."""
    checked = (today - timedelta(days=20)).isoformat()
    return {
        "rule_sets": [
            {
                "rule_set": "wend-odd-even",
                "supplier": "Wend Valley Water",
                "stages": [
                    {
                        "name": f"{parity} house numbers, {parity} dates",
                        "from": f"{today.year - 4}-03-01",
                        "until": None,
                        "address_rule": parity,
                        "dates": parity,
                        "bar_31st": False,
                        "windows": ["18:00-10:00"],
                        "window_day": "calendar",
                        "applies_to": {"heads": [], "plants": []},
                        "source": "invented: Wend Valley Water, notice to customers",
                        "checked_on": checked,
                    }
                    for parity in ("odd", "even")
                ],
            },
            {
                "rule_set": "hillside-two-days",
                "supplier": "Hillside Mutual",
                "stages": [
                    {
                        "name": "two days a week",
                        "from": f"{today.year - 4}-03-01",
                        "until": None,
                        "address_rule": "none",
                        "weekdays": {"odd": ["wed", "sat"], "even": ["thu", "sun"]},
                        "windows": ["20:00-08:00"],
                        "window_day": "opening",
                        "max_days_per_week": 2,
                        "source": "invented: Hillside Mutual, stage 2 order",
                        "checked_on": checked,
                    }
                ],
            },
        ]
    }


def visit_rows(rng: np.random.Generator, sites: list[DemoSite], *, today: date) -> Rows:
    """A week of promised windows and jobs asked for."""
    kinds = ("complaint", "repair", "audit", "backflow_test", "sensor_install", "dig", "start_up")
    notes = {
        "complaint": "Brown patch by the drive.",
        "repair": "Head leans, water on the pavement.",
        "audit": "Mid-season audit in the contract.",
        "backflow_test": "Yearly test is due.",
        "sensor_install": "Ordered with the contract.",
        "dig": "Wire to the back box is cut.",
        "start_up": "New owner, first visit.",
    }
    skills = {"backflow_test": "backflow", "dig": "dig", "sensor_install": "wiring", "repair": "repair"}
    rows: Rows = []
    for position in sorted(rng.choice(len(sites), size=min(34, len(sites)), replace=False)):
        kind = str(rng.choice(kinds, p=[0.2, 0.2, 0.26, 0.1, 0.1, 0.06, 0.08]))
        row: dict[str, object] = {
            "site": sites[int(position)].code,
            "kind": kind,
            "skill": skills.get(kind, ""),
            "priority": int(rng.integers(1, 6)),
            "note": notes[kind],
        }
        if rng.random() < 0.6:
            day = today + timedelta(days=int(rng.integers(0, 5)))
            hour = int(rng.integers(8, 15))
            row |= {"earliest": f"{day}T{hour:02d}:00", "latest": f"{day}T{hour + 2:02d}:00"}
        rows.append(row)
    return rows
