"""What technicians recorded, as rows."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from typing import Final

from fleet.calc.on_site.sensor_reading import reading_words
from fleet.models import Finding
from fleet.selectors.company.stock import parts_words

COLUMNS: Final = (
    "recorded_at",
    "site",
    "technician",
    "kind",
    "verdict",
    "cause",
    "resistance_kohm",
    "soil_temperature_c",
    "reading",
    "threshold_kpa",
    "program_keyed_in",
    "turf",
    "parts_used",
    "service_min",
    "follow_up",
    "note",
    "answers",
    "check_state",
)


def rows(
    *, start: date | None = None, end: date | None = None, private: bool = False
) -> Iterator[dict[str, object]]:
    """Findings, oldest first. Empty cells: not measured.

    Parameters
    ----------
    start, end
        First day, and the day after the last (UTC); None leaves that side open.
    private
        Notes are free text and may name people: only with this.
    """
    findings = Finding.objects.select_related("visit__site", "technician").order_by("recorded_at", "id")
    if start is not None:
        findings = findings.filter(recorded_at__date__gte=start)
    if end is not None:
        findings = findings.filter(recorded_at__date__lt=end)
    words_of = parts_words()
    for one in findings.iterator(chunk_size=2_000):
        yield {
            "recorded_at": one.recorded_at.isoformat(),
            "site": one.visit.site.code,
            "technician": one.technician.code if one.technician is not None else "",
            "kind": one.kind,
            "verdict": one.verdict,
            "cause": one.cause,
            "resistance_kohm": _number(one.resistance_kohm),
            "soil_temperature_c": _number(one.soil_temperature_c),
            "reading": (
                ""
                if one.resistance_kohm is None
                else reading_words(one.resistance_kohm, one.soil_temperature_c)
            ),
            "threshold_kpa": _number(one.threshold_kpa),
            "program_keyed_in": one.program_keyed_in,
            "turf": one.turf,
            "parts_used": words_of(one.parts, one.parts_used),
            "service_min": _number(one.service_min),
            "follow_up": one.follow_up,
            "note": one.note if private else "",
            "answers": json.dumps(one.answers, sort_keys=True, ensure_ascii=False),
            "check_state": one.check_state,
        }


def _number(value: float | None) -> float | str:
    """A number, empty where it was not measured."""
    return "" if value is None else value
