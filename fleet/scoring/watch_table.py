"""The published table of the sensor watch, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from statistics import median

from fleet.calc.proportion import Share, wilson_interval
from fleet.calc.watch.settings import CAUSES
from fleet.scoring.watch_counts import FaultScore, Scores, pooled


def table_lines(scores: Mapping[tuple[str, str, str, str], Scores]) -> Iterator[str]:
    """One block for each physics, climate and season, and one over all: a line for each method and fault.

    Parameters
    ----------
    scores
        Counts by physics, climate, season and method.
    """
    worlds = {key[:3]: ", ".join(key[:3]) for key in scores}
    for world, title in worlds.items():
        yield from _block(title, {key[3]: one for key, one in scores.items() if key[:3] == world})
    if len(worlds) > 1:
        methods = dict.fromkeys(key[3] for key in scores)
        over_all = {
            method: pooled(one for key, one in scores.items() if key[3] == method) for method in methods
        }
        yield from _block(f"all {len(worlds)} kinds of fleet and season", over_all)


def _block(title: str, scores: Mapping[str, Scores]) -> Iterator[str]:
    """Lines of one kind of fleet, by method."""
    yield title
    yield (
        "  method          fault       faults  found % (95 %)     visible  found of visible % (95 %)"
        "  days  starts  cause at flag/end %"
    )
    for method, one in scores.items():
        yield from _method_lines(method, one)
    yield ""


def _method_lines(method: str, scores: Scores) -> Iterator[str]:
    """Lines of one method."""
    for cause, row in zip(CAUSES, scores.by_fault, strict=True):
        yield f"  {method:15} {_fault_words(cause, row)}"
    alarms = scores.false_alarm_share
    right = sum(row.cause_at_end for row in scores.by_fault)
    found = sum(row.found for row in scores.by_fault)
    direction = sum(row.direction_at_flag for row in scores.by_fault)
    unseen = sum(row.faults - row.visible for row in scores.by_fault)
    found_unseen = sum(row.unseen_found for row in scores.by_fault)
    open_unseen = sum(row.unseen_open for row in scores.by_fault)
    yield (
        f"  {method:15} false alarms per 100 healthy, ever in the season: {_percent(alarms)}"
        f" ({scores.false_alarms} of {scores.healthy}); cause right at the end {_part(right, found)} %,"
        f" direction at the flag {_part(direction, found)} %; faults that could not be seen: {unseen}, of"
        f" them flagged {found_unseen}, left open {open_unseen}, said to be in order"
        f" {unseen - found_unseen - open_unseen}"
    )
    if scores.carried:
        yield (
            f"  {method:15} faults that went on from the season before: {scores.carried}, of them flagged"
            f" {scores.carried_found}"
        )


def _fault_words(cause: str, row: FaultScore) -> str:
    """Counts of one fault."""
    days = f"{median(row.days):.0f}" if row.days else "-"
    starts = f"{median(row.starts):.0f}" if row.starts else "-"
    return (
        f"{cause:11} {row.faults:6d}  {_percent(wilson_interval(row.found, row.faults)):17} {row.visible:8d}"
        f"  {_percent(wilson_interval(row.visible_found, row.visible)):25} {days:>5} {starts:>7}"
        f"  {_part(row.cause_at_flag, row.found)}/{_part(row.cause_at_end, row.found)}"
    )


def _percent(share: Share) -> str:
    """A share and its interval in per cent."""
    if share.value != share.value:
        return "-"
    return f"{100 * share.value:.1f} ({100 * share.low:.1f}-{100 * share.high:.1f})"


def _part(part: int, whole: int) -> str:
    """A part in per cent."""
    return f"{100 * part / whole:.0f}" if whole else "-"
