"""Recommended programs as rows; they drop straight into the programs import."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Final

from sites.models import Recommendation, RecommendationLine
from sites.selectors.issue_gate import barred_programs

COLUMNS: Final = (
    "week",
    "as_of",
    "site",
    "controller",
    "program",
    "days",
    "starts",
    "station",
    "run_order",
    "run_min",
    "seasonal_adjust_pct",
    "cycles_per_event",
    "threshold_kpa_now",
    "threshold_kpa",
    "status",
    "week_depth_mm",
    "week_volume_l",
    "week_need_mm",
    "adequacy_pct",
    "lost_pct",
    "runoff_limit_min",
    "is_change",
    "reasons",
)


def rows(*, week: date, private: bool = False) -> Iterator[dict[str, object]]:
    """A week's programs, station by station in the order in which they run.

    The reasons of a program that may not be issued begin with why it may not.

    Parameters
    ----------
    week
        Its Monday.
    private
        Nothing in a program is private; taken so that all exports are called alike.
    """
    del private
    barred = barred_programs(
        recommendation_ids=Recommendation.objects.filter(week=week, is_change=True).values_list(
            "pk", flat=True
        )
    )
    lines = (
        RecommendationLine.objects.filter(recommendation__week=week)
        .select_related("recommendation__controller__site")
        .order_by(
            "recommendation__controller__site__code",
            "recommendation__controller__code",
            "letter",
            "run_order",
        )
    )
    for line in lines.iterator(chunk_size=2_000):
        answer = line.recommendation
        bar = barred.get(answer.pk)
        yield {
            "week": week.isoformat(),
            "as_of": week.isoformat(),
            "site": answer.controller.site.code,
            "controller": answer.controller.code,
            "program": line.letter,
            "days": line.days,
            "starts": line.starts,
            "station": line.station,
            "run_order": line.run_order,
            "run_min": f"{line.run_min:g}",
            "seasonal_adjust_pct": f"{line.seasonal_adjust_pct:g}",
            "cycles_per_event": line.cycles_per_event,
            "threshold_kpa_now": _number(answer.threshold_kpa_now, 1),
            "threshold_kpa": _number(answer.threshold_kpa, 1),
            "status": answer.status,
            "week_depth_mm": _number(line.week_depth_mm, 2),
            "week_volume_l": _number(line.week_volume_l, 0),
            "week_need_mm": _number(line.week_need_mm, 2),
            "adequacy_pct": _number(line.adequacy_pct, 1),
            "lost_pct": _number(line.lost_pct, 1),
            "runoff_limit_min": _number(line.runoff_limit_min, 1),
            "is_change": str(answer.is_change).lower(),
            "reasons": " ".join([bar.sentence, *answer.reasons] if bar else answer.reasons),
        }


def _number(value: float | None, digits: int) -> str:
    """A number with fixed digits, empty for none."""
    return "" if value is None else f"{value:.{digits}f}"
