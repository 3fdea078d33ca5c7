"""What a night costs, stage by stage: `python -m tests.benchmarks.night --date DATE [--revised DAYS]`.

Runs every stage of a day as the worker does, on the database of `DATABASE_URL` (make it large with
`large_book`), and prints for each: seconds by the clock, of this process's processor, spent waiting for
the database, and its largest memory. `--revised` first marks the last days of all weather as revised, as
services do every day, so that the balance has a night's work.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final

import django

django.setup()

from django.db import connection  # noqa: E402 (only after the set-up)
from django.utils import timezone  # noqa: E402

from fleet.services.run_day import run_day  # noqa: E402
from sites.models import Site  # noqa: E402
from weather.models import Location  # noqa: E402

TARGET_S: Final = 900.0
TARGET_MB: Final = 2_000.0


class Waiting:
    """Seconds that statements took."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self, execute: Callable[..., Any], *statement: Any) -> Any:
        """Time a statement."""
        began = time.perf_counter()
        try:
            return execute(*statement)
        finally:
            self.seconds += time.perf_counter() - began


def peak_mb() -> float:
    """Largest memory since the last call [MB]."""
    status = Path("/proc/self/status").read_text()
    peak = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM"))
    Path("/proc/self/clear_refs").write_text("5")
    return peak / 1024


def other_s() -> float:
    """Processor of the processes that this one started and that ended [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    """Measure."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--date", type=date.fromisoformat, required=True)
    asked.add_argument("--seed", type=int, default=7)
    asked.add_argument(
        "--revised", type=int, default=0, metavar="DAYS", help="weather of so many days is new (0)"
    )
    options = asked.parse_args()
    if options.revised:
        Location.objects.update(stale_from=options.date - timedelta(days=options.revised))
    print(f"{Site.objects.count()} gardens, {connection.vendor}")  # noqa: T201
    print(f"{'stage':<18}{'clock s':>9}{'own s':>8}{'others s':>10}{'database s':>12}{'peak MB':>9}")  # noqa: T201
    waiting, began = Waiting(), time.perf_counter()
    largest = peak_mb()
    with connection.execute_wrapper(waiting):
        at = (began, time.process_time(), other_s(), 0.0)
        for line in run_day(day=options.date, clock=timezone.now, seed=options.seed):
            now = (time.perf_counter(), time.process_time(), other_s(), waiting.seconds)
            spent = [after - before for after, before in zip(now, at, strict=True)]
            peak = peak_mb()
            largest = max(largest, peak)
            stage, words = line.split(": ", 1)
            figures = f"{spent[0]:9.1f}{spent[1]:8.1f}{spent[2]:10.1f}{spent[3]:12.1f}{peak:9.0f}"
            print(f"{stage:<18}{figures}  {words}", flush=True)  # noqa: T201
            at = now
    took = time.perf_counter() - began
    print(f"{took:.0f} s (wanted: {TARGET_S:.0f}), {largest:.0f} MB (wanted: {TARGET_MB:.0f})")  # noqa: T201


if __name__ == "__main__":
    main()
