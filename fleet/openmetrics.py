"""The state of the installation as OpenMetrics text."""

from __future__ import annotations

from typing import Final

from fleet.selectors.company.operations import Operations

CONTENT_TYPE: Final = "application/openmetrics-text; version=1.0.0; charset=utf-8"


def as_openmetrics(found: Operations) -> str:
    """Gauges of runs, workers and inputs; ends with `# EOF` as the format asks."""
    lines: list[str] = []

    def gauge(name: str, help_words: str, rows: list[tuple[dict[str, str], float]], unit: str = "") -> None:
        full = f"rootround_{name}"
        lines.append(f"# TYPE {full} gauge")
        if unit:
            lines.append(f"# UNIT {full} {unit}")
        lines.append(f"# HELP {full} {help_words}")
        for labels, value in rows:
            inside = ",".join(f'{key}="{_escaped(text)}"' for key, text in labels.items())
            lines.append(f"{full}{'{' + inside + '}' if inside else ''} {value:g}")

    gauge(
        "stage_runs",
        "Stage runs by state.",
        [({"state": state}, float(count)) for state, count in sorted(found.by_state.items())],
    )
    gauge(
        "oldest_wait_seconds", "Age of the oldest run that waits.", [({}, found.oldest_waiting_s)], "seconds"
    )
    gauge("workers_alive", "Workers heard of in the last five minutes.", [({}, float(found.alive))])
    newest: dict[str, float] = {}
    for row in reversed(found.runs):
        if row.took_s is not None:
            newest[row.run.stage] = row.took_s
    gauge(
        "stage_last_seconds",
        "Time that the last finished run of a stage took.",
        [({"stage": stage}, took) for stage, took in sorted(newest.items())],
        "seconds",
    )
    ages = [({"input": row.words}, float(row.age_days)) for row in found.inputs if row.age_days is not None]
    gauge("input_age_days", "Age of the newest entry of an input.", ages, "days")
    return "\n".join([*lines, "# EOF", ""])


def _escaped(text: str) -> str:
    """A label's value."""
    return text.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')
