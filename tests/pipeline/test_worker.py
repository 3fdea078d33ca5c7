"""A real worker on a real broker: what is asked for is done, once, by a process of its own."""

from __future__ import annotations

from pathlib import Path

from tests.pipeline.installation import installation, wait_for

ASK = """
from datetime import date
from fleet.tasks import queue_stage
queue_stage(stage='assign_locations', scope='all', day=date(2026, 6, 15))
"""
STATE = "select state, attempt from fleet_stagerun where stage = 'assign_locations'"


def test_a_stage_that_was_asked_for_is_done_by_the_worker(tmp_path: Path) -> None:
    with installation(tmp_path) as here:
        here.manage("migrate", "--verbosity", "0")
        here.worker()

        here.shell(ASK)

        wait_for(lambda: here.rows(STATE) == [("done", 1)])
