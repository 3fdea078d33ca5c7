"""Service contracts of the invented gardens, as rows of the contracts file."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Final

import numpy as np

from fleet.calc.visits.contracts import anniversary
from fleet.demo.book import DemoSite

Rows = list[dict[str, object]]
# price, visits a year by kind, how often it is bought
OFFERS: Final[tuple[tuple[float, Mapping[str, int], float], ...]] = (
    (190.0, {"start_up": 1, "winterize": 1}, 0.3),
    (340.0, {"start_up": 1, "sensor_check": 2, "winterize": 1}, 0.35),
    (480.0, {"start_up": 1, "sensor_check": 2, "audit": 1, "winterize": 1, "any_kind": 1}, 0.25),
    (260.0, {"any_kind": 3}, 0.1),  # as contracts were before
)
# When a visit of a kind is usually made in the invented town: month and day.
USUAL_DAYS: Final = {"start_up": (4, 22), "winterize": (10, 12)}
WITHOUT, OVERUSED, LONGER = 0.1, 0.08, 0.15


def contract_rows(rng: np.random.Generator, sites: list[DemoSite], *, today: date) -> Rows:
    """Service contracts: most of the sites, some up for renewal soon, some used more than they include."""
    rows: Rows = []
    for site in sites:
        if rng.random() < WITHOUT:
            continue
        price, visits, _ = OFFERS[int(rng.choice(len(OFFERS), p=[offer[2] for offer in OFFERS]))]
        start = today - timedelta(days=int(rng.integers(20, 360)))
        years = 2 if rng.random() < LONGER else 1
        used = {kind: _used(rng, kind, count, start, today) for kind, count in visits.items()}
        if rng.random() < OVERUSED:
            most = "sensor_check" if "sensor_check" in visits else "any_kind"
            used[most] = visits.get(most, 0) + int(rng.integers(1, 3))
        rows.append(
            {
                "site": site.code,
                "first_day": start.isoformat(),
                "last_day": (anniversary(start, years) - timedelta(days=1)).isoformat(),
                "price_per_year": price + 10 * int(rng.integers(-3, 4)),
                "notice_days": int(rng.choice([30, 30, 60])),
                **{f"visits_{kind}": count for kind, count in visits.items()},
                **{f"used_{kind}": count for kind, count in used.items()},
            }
        )
    return rows


def _used(rng: np.random.Generator, kind: str, count: int, start: date, today: date) -> int:
    """Visits of a kind made so far in the contract's present year."""
    if kind in USUAL_DAYS:
        days = [date(year, *USUAL_DAYS[kind]) for year in (today.year - 1, today.year)]
        return int(any(start <= day < today for day in days) and rng.random() < 0.95)
    gone = (today - start).days / 365
    return int(rng.binomial(count, min(0.9, 0.8 * gone)))
