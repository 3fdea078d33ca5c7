"""Fifty nights struck by kill -9 at drawn moments: prints victim, stage, time to recover and what differs."""

from __future__ import annotations

import random
import shutil
import tempfile
from pathlib import Path

import pytest

from tests.pipeline.kills import STAGES, VICTIMS, Kill, Nights, differences
from tests.pipeline.real_parts import on_servers, parts

KILLS = 50
pytestmark = [pytest.mark.benchmark, on_servers]


def test_fifty_nights_end_like_the_calm_one() -> None:
    draw = random.Random(11)
    kills = [
        Kill(VICTIMS[number % len(VICTIMS)], draw.choice(STAGES), draw.uniform(0.0, 0.9))
        for number in range(KILLS)
    ]
    data = Path(tempfile.mkdtemp(prefix="rootround-nights."))
    wrong, hit = [], 0
    try:
        with parts() as servers:
            nights = Nights(servers, data)
            for number, kill in enumerate(kills, start=1):
                struck = nights.night(kill)
                found = differences(nights.calm, struck)
                hit += struck.was_hit
                told = "as the calm night" if not found else f"DIFFERS: {sorted(found)}"
                missed = "" if struck.was_hit else " (the stage was over already)"
                print(f"{number:3d} {kill}{missed}: over {struck.recovery_s:.0f} s later, {told}", flush=True)  # noqa: T201
                if found or struck.plans != nights.calm.plans:
                    wrong.append((str(kill), found))
    finally:
        shutil.rmtree(data)
    print(f"{KILLS} kills, {hit} in the middle of their stage, {len(wrong)} nights that differ")  # noqa: T201

    assert wrong == []
