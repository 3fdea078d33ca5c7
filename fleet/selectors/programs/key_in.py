"""What is set in a controller against what should be, in the order in which a timer asks for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from fleet.selectors.on_site.day import KeyInLine, KeyInProgram
from sites.calc.program.sheet import Step, sheet_letters
from sites.models import Controller, ProgramSet, Recommendation, Zone
from sites.models.choices import ProgramStatus
from sites.models.program import LineFields
from sites.selectors.issue_gate import barred_programs
from sites.selectors.program_lines import keyed_of


def programs_to_key_in(*, site_id: int, day: date) -> tuple[KeyInProgram, ...]:
    """Newest recommendation of each controller of a site that asks for a change, old against new.

    One that may not be issued says so in `barred` and has no lines.
    """
    programs = []
    for controller in Controller.objects.filter(site_id=site_id).order_by("code"):
        row = (
            Recommendation.objects.filter(controller=controller, is_change=True)
            .exclude(status__in=(ProgramStatus.HELD, ProgramStatus.KEYED_IN))
            .prefetch_related("lines")
            .order_by("-week")
            .first()
        )
        newest = Recommendation.objects.filter(controller=controller).order_by("-week").first()
        if row is None or newest is None or newest.pk != row.pk:
            continue
        bar = barred_programs(recommendation_ids=[row.pk]).get(row.pk)
        now = (
            ProgramSet.objects.filter(controller=controller, as_of__lte=day)
            .prefetch_related("lines")
            .order_by("-as_of")
            .first()
        )
        names = dict(Zone.objects.filter(controller=controller).values_list("station", "name"))
        old = list(now.lines.all()) if now is not None else []
        programs.append(
            KeyInProgram(
                controller_id=controller.pk,
                controller=controller.code,
                program_set_id=row.pk,
                week=row.week,
                status=row.status,
                reasons=tuple(str(reason) for reason in row.reasons),
                lines=() if bar else tuple(key_in_lines(old, list(row.lines.all()), names)),
                barred=bar.sentence if bar else "",
            )
        )
    return tuple(programs)


def key_in_lines(
    old: Iterable[LineFields], new: Iterable[LineFields], names: Mapping[int, str]
) -> list[KeyInLine]:
    """Every entry of every letter, old against new, as the printed sheet has them.

    Parameters
    ----------
    old, new
        Lines as they are set and as they should be.
    names
        Names of the zones by station.
    """
    return [
        _line(letter.letter, step, names)
        for letter in sheet_letters(keyed_of(old), keyed_of(new), names)
        for step in letter.steps
    ]


def _line(letter: str, step: Step, names: Mapping[int, str]) -> KeyInLine:
    """One entry; its code is what a phone remembers a tick by."""
    if step.station:
        name = names.get(step.station, "")
        code, word = f"station{step.station}", f"station {step.station}" + (f", {name}" if name else "")
    else:
        word = step.label.lower()
        code = {"seasonal adjust": "adjust"}.get(word, word.replace(" ", ""))
    return KeyInLine(
        code=f"{letter}/{code}",
        label=f"{letter} {word}",
        old=step.now,
        new=step.new,
        is_change=step.is_change,
    )
