"""What is set in a controller against what should be, in the order in which a timer asks for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fleet.selectors.day import KeyInLine, KeyInProgram
from sites.calc.program_days import days_words
from sites.models import Controller, ProgramSet, Recommendation, Zone
from sites.models.choices import ProgramStatus
from sites.models.program import LineFields

OFF = "off"


@dataclass(frozen=True, slots=True)
class _Letter:
    """One program letter as a timer holds it."""

    days: str
    starts: tuple[str, ...]
    adjust_pct: float
    minutes: Mapping[int, float]


def programs_to_key_in(*, site_id: int, day: date) -> tuple[KeyInProgram, ...]:
    """Newest recommendation of each controller of a site that asks for a change, old against new."""
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
                lines=tuple(key_in_lines(old, list(row.lines.all()), names)),
            )
        )
    return tuple(programs)


def key_in_lines(
    old: Sequence[LineFields], new: Sequence[LineFields], names: Mapping[int, str]
) -> list[KeyInLine]:
    """Every entry of every letter, old against new."""
    before, after = _letters(old), _letters(new)
    lines: list[KeyInLine] = []
    for letter in sorted(before.keys() | after.keys()):
        was, will = before.get(letter), after.get(letter)
        lines.append(
            _line(
                f"{letter}/days",
                f"{letter} days",
                days_words(was.days) if was else None,
                days_words(will.days) if will else None,
            )
        )
        starts = max(len(was.starts) if was else 0, len(will.starts) if will else 0)
        lines += [
            _line(f"{letter}/start{n + 1}", f"{letter} start {n + 1}", _nth(was, n), _nth(will, n))
            for n in range(starts)
        ]
        stations = sorted((was.minutes.keys() if was else set()) | (will.minutes.keys() if will else set()))
        for station in stations:
            name = names.get(station, "")
            lines.append(
                _line(
                    f"{letter}/station{station}",
                    f"{letter} station {station}" + (f", {name}" if name else ""),
                    _minutes(was, station),
                    _minutes(will, station),
                )
            )
        lines.append(
            _line(
                f"{letter}/adjust",
                f"{letter} seasonal adjust",
                f"{was.adjust_pct:g} %" if was else None,
                f"{will.adjust_pct:g} %" if will else None,
            )
        )
    return lines


def _letters(lines: Sequence[LineFields]) -> dict[str, _Letter]:
    """Lines by letter."""
    found: dict[str, _Letter] = {}
    for letter in sorted({line.letter for line in lines}):
        own = [line for line in lines if line.letter == letter]
        starts = tuple(part.strip() for part in own[0].starts.split(";") if part.strip())
        minutes = {line.station: line.run_min for line in own}
        found[letter] = _Letter(own[0].days, starts, own[0].seasonal_adjust_pct, minutes)
    return found


def _nth(letter: _Letter | None, number: int) -> str | None:
    """The n-th start of a letter."""
    return letter.starts[number] if letter is not None and number < len(letter.starts) else None


def _minutes(letter: _Letter | None, station: int) -> str | None:
    """Run time of a station in a letter, in words."""
    if letter is None or station not in letter.minutes:
        return None
    return f"{letter.minutes[station]:g} min"


def _line(code: str, label: str, old: str | None, new: str | None) -> KeyInLine:
    """One entry; what is not there is off."""
    was, will = old or OFF, new or OFF
    return KeyInLine(code=code, label=label, old=was, new=will, is_change=was != will)
