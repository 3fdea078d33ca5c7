"""Programs held against the watering rules of their sites: set ones and recommended ones."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.db.models import OuterRef, Subquery

from sites.calc.program.sheet import KeyedLine
from sites.calc.rules.breaks import RuleBreak, RuleChecker
from sites.calc.rules.hours import permitted_hours
from sites.calc.rules.stages import AddressUnknownError, Stage, Watered, house_number
from sites.models import Controller, ProgramSet, Recommendation, Zone
from sites.selectors.program_lines import keyed_of
from sites.selectors.rule_books import stages_by_code

# So long a recommended program is held against the rules: the next round comes before that.
DAYS_AHEAD: Final = 14
Rules = Mapping[str, tuple[Stage, ...]]


@dataclass(frozen=True, slots=True)
class _Program:
    """A program of one controller."""

    key: int
    controller_id: int
    as_of: date
    lines: tuple[KeyedLine, ...]


def recommendation_breaks(
    *, recommendation_ids: Collection[int], rules: Rules | None = None
) -> dict[int, tuple[RuleBreak, ...]]:
    """What recommended programs break from their Monday on, by recommendation; the others are left out.

    Parameters
    ----------
    recommendation_ids
        Which.
    rules
        Stages by rule set in the place of the stored ones.
    """
    rows = Recommendation.objects.filter(pk__in=list(recommendation_ids)).prefetch_related("lines")
    by_week: dict[date, list[_Program]] = {}
    for row in rows:
        program = _Program(row.pk, row.controller_id, row.week, tuple(keyed_of(row.lines.all())))
        by_week.setdefault(row.week, []).append(program)
    found: dict[int, tuple[RuleBreak, ...]] = {}
    for week, programs in by_week.items():
        found.update(_breaks(programs, _places(programs), week, rules or {}))
    return found


def set_program_breaks_under(
    *, controller_ids: Collection[int], first_day: date, under: Sequence[Rules]
) -> list[dict[int, tuple[RuleBreak, ...]]]:
    """What the programs that are set break from a day on under each of several rules, read once.

    Parameters
    ----------
    controller_ids
        Which.
    first_day
        First day; of several settings the newest until then counts.
    under
        Stages by rule set in the place of the stored ones, one mapping for each question.
    """
    newest = ProgramSet.objects.filter(controller=OuterRef("controller"), as_of__lte=first_day)
    sets = ProgramSet.objects.filter(
        controller_id__in=list(controller_ids), pk=Subquery(newest.order_by("-as_of").values("pk")[:1])
    ).prefetch_related("lines")
    programs = [
        _Program(one.controller_id, one.controller_id, one.as_of, tuple(keyed_of(one.lines.all())))
        for one in sets
    ]
    places = _places(programs)
    return [_breaks(programs, places, first_day, rules) for rules in under]


@dataclass(frozen=True, slots=True)
class _Places:
    """Controllers with their sites, what each station waters, and the stages of their rule sets."""

    controllers: Mapping[int, Controller]
    watered: Mapping[int, Mapping[int, Watered]]
    stages: Rules


def _places(programs: Collection[_Program]) -> _Places:
    """What programs are held against."""
    ids = {program.controller_id for program in programs}
    controllers = {row.pk: row for row in Controller.objects.filter(pk__in=ids).select_related("site")}
    watered: dict[int, dict[int, Watered]] = {}
    for pk, station, head, plant, planted in Zone.objects.filter(controller_id__in=ids).values_list(
        "controller_id", "station", "head", "plant", "planted_on"
    ):
        number = house_number(controllers[pk].site.address)
        watered.setdefault(pk, {})[station] = Watered(number, head, plant, planted)
    return _Places(controllers, watered, stages_by_code({row.site.rule_set for row in controllers.values()}))


def _breaks(
    programs: Collection[_Program], places: _Places, first_day: date, rules: Rules
) -> dict[int, tuple[RuleBreak, ...]]:
    """Breaks of programs, by their key."""
    known = {**places.stages, **rules}
    checkers: dict[tuple[str, str], RuleChecker] = {}
    found: dict[int, tuple[RuleBreak, ...]] = {}
    for program in programs:
        site = places.controllers[program.controller_id].site
        if not site.rule_set:
            continue
        if site.rule_set not in known:
            words = f"the watering rules {site.rule_set} are not in the book, so nobody can tell"
            found[program.key] = (RuleBreak("", "unknown", first_day, (), 1, words),)
            continue
        key = (site.rule_set, site.timezone)
        if key not in checkers:
            checkers[key] = RuleChecker(
                known[site.rule_set], first_day=first_day, day_count=DAYS_AHEAD, timezone=site.timezone
            )
        breaks = checkers[key].breaks(
            program.lines, places.watered.get(program.controller_id, {}), as_of=program.as_of
        )
        if breaks:
            found[program.key] = breaks
    return found


def open_stations(
    *, controller_ids: Collection[int], first_day: date, stages: tuple[Stage, ...]
) -> dict[int, tuple[int, ...]]:
    """Stations that some stages let water at all within two weeks, by controller.

    Parameters
    ----------
    controller_ids
        Which.
    first_day
        First day.
    stages
        The stages.
    """
    found: dict[int, list[int]] = {}
    known: dict[Watered, bool] = {}
    rows = Zone.objects.filter(controller_id__in=list(controller_ids)).order_by("controller_id", "station")
    for pk, address, station, head, plant, planted in rows.values_list(
        "controller_id", "controller__site__address", "station", "head", "plant", "planted_on"
    ):
        watered = Watered(house_number(address), head, plant, planted)
        if watered not in known:
            known[watered] = _is_ever_open(stages, watered, first_day)
        if known[watered]:
            found.setdefault(pk, []).append(station)
    return {pk: tuple(stations) for pk, stations in found.items()}


def _is_ever_open(stages: tuple[Stage, ...], watered: Watered, first_day: date) -> bool:
    """Whether any hour is open; not where a house number lacks."""
    try:
        return bool(permitted_hours(stages, watered, first_day, DAYS_AHEAD - 1).spans)
    except AddressUnknownError:
        return False
