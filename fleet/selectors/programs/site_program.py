"""A controller's program as set, beside the one recommended, line by line."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sites.calc.program.days import days_words, parse_starts
from sites.calc.program.sheet import KeyedLine
from sites.models import ProgramSet, Recommendation, Site, Zone
from sites.models.program import LineFields
from sites.selectors.program_lines import keyed_of


@dataclass(frozen=True, slots=True)
class LineChange:
    """A line of the table: what to key in, as it is set and as it should be; empty: nothing there."""

    word: str
    station: int | None
    now: str
    new: str
    note: str

    @property
    def is_change(self) -> bool:
        """Whether the new value differs."""
        return bool(self.new) and self.new != self.now


@dataclass(frozen=True, slots=True)
class LetterChange:
    """One program letter."""

    letter: str
    lines: tuple[LineChange, ...]


@dataclass(frozen=True, slots=True)
class ControllerProgram:
    """The program of one controller. `advice` is None where no change was recommended after it was set.

    `checked_on` is the day of the weekly round that last looked at it; `keyed_now` and `keyed_new` are the
    lines themselves, and the flow is what somebody said that its supply gives.
    """

    controller: str
    as_of: date | None
    advice: Recommendation | None
    checked_on: date | None
    letters: tuple[LetterChange, ...]
    keyed_now: tuple[KeyedLine, ...] = ()
    keyed_new: tuple[KeyedLine, ...] = ()
    flow_limit_l_min: float | None = None


def site_programs(*, site: Site, today: date) -> tuple[ControllerProgram, ...]:
    """Programs of all controllers of a site."""
    names = {
        (zone.controller_id, zone.station): zone.name
        for zone in Zone.objects.filter(controller__site=site).only("controller_id", "station", "name")
    }
    programs = []
    for controller in site.controllers.order_by("code"):
        now = (
            ProgramSet.objects.filter(controller=controller, as_of__lte=today)
            .prefetch_related("lines")
            .order_by("-as_of")
            .first()
        )
        advice = (
            Recommendation.objects.filter(controller=controller)
            .prefetch_related("lines")
            .order_by("-week")
            .first()
        )
        checked_on = advice.computed_on if advice is not None else None
        if advice is not None and (
            not advice.is_change or (now is not None and now.as_of > advice.computed_on)
        ):
            advice = None
        old = list(now.lines.all()) if now is not None else []
        new = list(advice.lines.all()) if advice is not None else []
        letters = sorted({line.letter for line in [*old, *new]})
        programs.append(
            ControllerProgram(
                controller=controller.code,
                as_of=now.as_of if now is not None else None,
                advice=advice,
                checked_on=checked_on,
                letters=tuple(
                    LetterChange(
                        letter,
                        _lines(
                            [line for line in old if line.letter == letter],
                            [line for line in new if line.letter == letter],
                            {station: name for (pk, station), name in names.items() if pk == controller.pk},
                            {line.station: line.letter for line in new},
                        ),
                    )
                    for letter in letters
                ),
                keyed_now=tuple(keyed_of(old)),
                keyed_new=tuple(keyed_of(new)),
                flow_limit_l_min=controller.flow_limit_l_min,
            )
        )
    return tuple(programs)


def _lines(
    old: list[LineFields], new: list[LineFields], names: dict[int, str], new_letters: dict[int, str]
) -> tuple[LineChange, ...]:
    """Days, starts and adjust of a letter, then its stations in their order."""
    lines = [
        LineChange(word, None, _of(old, field), _of(new, field), "")
        for word, field in (
            ("Days", "days"),
            ("Starts", "starts"),
            ("Seasonal adjust", "seasonal_adjust_pct"),
        )
    ]
    minutes_now = {line.station: line.run_min for line in old}
    minutes_new = {line.station: line for line in new}
    for station in dict.fromkeys([line.station for line in [*(new or old), *old]]):
        line = minutes_new.get(station)
        limit = getattr(line, "runoff_limit_min", None)
        gone = f"moves to {new_letters[station]}" if station in new_letters else "off"
        lines.append(
            LineChange(
                word=names.get(station, ""),
                station=station,
                now=_minutes(minutes_now.get(station)),
                new=_minutes(line.run_min) if line is not None else (gone if new_letters else ""),
                note=f"run-off limit {limit:.0f} min" if limit is not None else "",
            )
        )
    return tuple(lines)


def _minutes(value: float | None) -> str:
    """Minutes as a person keys them in."""
    return "" if value is None else f"{value:g} min"


def _of(lines: list[LineFields], field: str) -> str:
    """A field that all lines of a letter share, in words."""
    if not lines:
        return ""
    value = getattr(lines[0], field)
    if field == "starts":
        return " ".join(f"{start // 60}:{start % 60:02d}" for start in parse_starts(value))
    return f"{value:g} %" if field == "seasonal_adjust_pct" else days_words(str(value))
