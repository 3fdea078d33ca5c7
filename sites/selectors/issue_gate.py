"""The one gate before a recommended program is issued: not while it is held, nor outside the rules unwritten.

Sheets, batches, phones, exports and findings all ask here, so that no door lets out what another keeps in.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

from sites.calc.rules.breaks import RuleBreak
from sites.models import Recommendation
from sites.models.choices import ProgramStatus
from sites.selectors.program_rules import recommendation_breaks

_AT_ONCE: Final = 500


@dataclass(frozen=True, slots=True)
class Barred:
    """Why a recommended program may not be issued: it is held, or breaks rules and nobody wrote a reason."""

    is_held: bool
    breaks: tuple[RuleBreak, ...]

    @property
    def sentence(self) -> str:
        """The bar in words, for whoever stands at the timer."""
        head = "Held by the office: not to be keyed in." if self.is_held else "Not to be keyed in yet."
        return f"{head} {self.breaks[0].sentence}" if self.breaks else head


def barred_programs(*, recommendation_ids: Collection[int]) -> dict[int, Barred]:
    """Recommended programs that may not be issued, by recommendation; those that may are left out.

    A program that breaks its watering rules may be issued only with a written reason; one that is held, not
    at all. What stands in the timer already is no longer to be issued and is left out.

    Parameters
    ----------
    recommendation_ids
        Which.
    """
    wanted = sorted(set(recommendation_ids))
    found: dict[int, Barred] = {}
    for left in range(0, len(wanted), _AT_ONCE):
        found.update(_barred(wanted[left : left + _AT_ONCE]))
    return found


def outside_rules(*, recommendation_ids: Collection[int]) -> dict[int, tuple[RuleBreak, ...]]:
    """What recommended programs break of their watering rules, by recommendation; for any number of them.

    Parameters
    ----------
    recommendation_ids
        Which.
    """
    wanted = sorted(set(recommendation_ids))
    found: dict[int, tuple[RuleBreak, ...]] = {}
    for left in range(0, len(wanted), _AT_ONCE):
        found.update(recommendation_breaks(recommendation_ids=wanted[left : left + _AT_ONCE]))
    return found


def _barred(ids: list[int]) -> Mapping[int, Barred]:
    """Barred ones of a few."""
    rows = list(
        Recommendation.objects.filter(pk__in=ids, is_change=True)
        .exclude(status=ProgramStatus.KEYED_IN)
        .values_list("pk", "status", "outside_reason")
    )
    asked = [pk for pk, status, reason in rows if status == ProgramStatus.HELD or not reason]
    breaks = recommendation_breaks(recommendation_ids=asked) if asked else {}
    return {
        pk: Barred(status == ProgramStatus.HELD, () if reason else breaks.get(pk, ()))
        for pk, status, reason in rows
        if status == ProgramStatus.HELD or pk in breaks
    }
