"""What the invented company's depots and trucks hold: most of what they should, some less."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from fleet.calc.visits.usual_parts import USUAL_PARTS
from fleet.models import StockPlace
from fleet.services.company.parts import add_depot, add_usual_parts
from fleet.services.company.stock import move_parts

# Of four trucks one lacks a part; the depot holds so many trucks' worth, the yard one.
FULL_ENOUGH = 0.75
DEPOT_TRUCKS = 12


def load_demo_trucks(*, by: str, now: datetime, seed: int) -> int:
    """Fill the catalogue, the depots and the trucks; how many places hold something."""
    chance = np.random.default_rng([seed, 31])
    add_usual_parts(by=by, now=now)
    depot = StockPlace.objects.get(code="depot")
    yard = add_depot(code="yard", name="Yard across the river", by=by, now=now)
    bought = {one.code: one.least * DEPOT_TRUCKS for one in USUAL_PARTS}
    long_ago = now - timedelta(days=20)
    move_parts(source_id=None, target_id=depot.pk, counts=bought, by=by, now=long_ago, note="first delivery")
    one_truck = {one.code: one.least for one in USUAL_PARTS}
    move_parts(source_id=depot.pk, target_id=yard.pk, counts=one_truck, by=by, now=long_ago)
    trucks = StockPlace.objects.filter(technician__isnull=False).order_by("code")
    for truck in trucks:
        wanted = {
            one.code: one.least if chance.random() < FULL_ENOUGH else one.least // 2 for one in USUAL_PARTS
        }
        counts = {code: count for code, count in wanted.items() if count}
        move_parts(source_id=depot.pk, target_id=truck.pk, counts=counts, by=by, now=now - timedelta(days=3))
    return len(trucks) + 2
