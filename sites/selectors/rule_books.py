"""Rule cases of controllers and of single zones: what stages of the book leave open to what they water."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from sites.calc.landscape import HEADS, PLANTS
from sites.calc.program.own_hours import OwnHours
from sites.calc.rules.cases import rule_case
from sites.calc.rules.file import parse_stage
from sites.calc.rules.stages import AddressUnknownError, Stage, Watered, house_number
from sites.calc.search.controllers import RuleCase
from sites.calc.search.settings import ProgramSettings
from sites.calc.zone_table import ZoneTable
from sites.models import Controller, RuleSet, Zone
from weather.calc.arrays import BoolArray


@dataclass(slots=True)
class CaseBook:
    """Rule cases, each made once; many controllers share one."""

    stages: Mapping[str, tuple[Stage, ...]]
    week: date
    settings: ProgramSettings
    cases: list[RuleCase] = field(default_factory=list)
    lacks: list[str] = field(default_factory=list)  # what lacks to know the rules; empty: nothing
    _known: dict[tuple[object, ...], int] = field(default_factory=dict)

    def case_of(self, row: Controller, kinds: frozenset[Watered]) -> int:
        """Position of the case of a controller that waters some kinds: the strictest counts."""
        key = (row.site.rule_set, kinds, row.day_modes, row.site.timezone)
        if key not in self._known:
            self._known[key] = len(self.cases)
            case, lack = self._made(row, kinds)
            self.cases.append(case)
            self.lacks.append(lack)
        return self._known[key]

    def _made(self, row: Controller, kinds: Iterable[Watered]) -> tuple[RuleCase, str]:
        """What the rules leave open; nothing, and why, where they cannot be known."""
        if row.site.rule_set and row.site.rule_set not in self.stages:
            return RuleCase(()), f"the watering rules {row.site.rule_set[:36]} are not in the book"
        try:
            case = rule_case(
                self.stages.get(row.site.rule_set, ()),
                sorted(kinds, key=repr),
                first_day=self.week,
                day_count=self.settings.horizon_days,
                day_modes=row.day_modes.split(","),
                timezone=row.site.timezone,
            )
        except AddressUnknownError:
            return RuleCase(()), "the address shows no house number"
        return case, ""


def own_hours(
    book: CaseBook,
    rows: Sequence[Controller],
    zones: ZoneTable,
    watered: Sequence[Watered],
    case_of: Sequence[int],
    is_governed: BoolArray,
) -> OwnHours:
    """Hours by station: where zones of one controller have other hours than the rest, by the rules.

    Those that share the hours of the governing zone (by the clock alone, of most area) keep the first
    letters. Where the days of all together are bounded, they stay together.
    """
    position = {row.pk: at for at, row in enumerate(rows)}
    owner = np.array([position[pk] for pk in zones.controller_id.tolist()], dtype=np.int64)
    zone_case = np.array(case_of, dtype=np.int64)[owner]
    main_case, apart_case = np.full((2, len(rows)), -1, dtype=np.int64)
    is_apart = np.zeros(len(zones), dtype=np.bool_)
    mixed = {at for at, row in enumerate(rows) if not book.lacks[case_of[at]]}
    of_row: dict[int, list[int]] = {}
    for zone, at in enumerate(owner.tolist()):
        of_row.setdefault(at, []).append(zone)
    for at in sorted(mixed):
        mine = of_row[at]
        if len({watered[zone] for zone in mine}) < 2:
            continue
        for zone in mine:
            zone_case[zone] = book.case_of(rows[at], frozenset([watered[zone]]))
        keys = {zone: _hours_of(book.cases[zone_case[zone]]) for zone in mine}
        if len(set(keys.values())) < 2 or book.cases[case_of[at]].max_days_per_week is not None:
            continue
        first = _first_zone(zones, mine, keys, is_governed=bool(is_governed[at]))
        apart = [zone for zone in mine if keys[zone] != keys[first]]
        main_case[at] = zone_case[first]
        apart_case[at] = book.case_of(rows[at], frozenset(watered[zone] for zone in apart))
        is_apart[apart] = True
    return OwnHours(tuple(book.cases), zone_case, main_case, apart_case, is_apart)


def _hours_of(case: RuleCase) -> tuple[object, ...]:
    """What makes two cases the same to a station."""
    return case.segments, case.max_station_min, bool(case.choices)


def _first_zone(
    zones: ZoneTable, mine: Sequence[int], keys: Mapping[int, tuple[object, ...]], *, is_governed: bool
) -> int:
    """The zone whose hours the first letters keep."""
    governing = [zone for zone in mine if zones.is_governing[zone]] if is_governed else []
    if governing:
        return governing[0]
    area: dict[tuple[object, ...], float] = {}
    for zone in mine:
        area[keys[zone]] = area.get(keys[zone], 0.0) + float(zones.area_m2[zone])
    return max(mine, key=lambda zone: (area[keys[zone]], -zone))


def watered_by_zone(
    rows: Sequence[Controller], zones: ZoneTable, stages: Mapping[str, tuple[Stage, ...]], week: date
) -> list[Watered]:
    """What each zone is to its rules, as far as they ask, in the zones' order."""
    planted = dict(
        Zone.objects.filter(controller__in=[row.pk for row in rows], planted_on__isnull=False).values_list(
            "pk", "planted_on"
        )
    )
    asked = {row.pk: _asked(row, stages) for row in rows}
    found = []
    for at, pk in enumerate(zones.controller_id.tolist()):
        digit, asks_kind, longest = asked[pk]
        day = planted.get(int(zones.zone_id[at]))
        fresh = day if day is not None and day + timedelta(days=longest) > week else None
        head, plant = (HEADS[zones.head[at]], PLANTS[zones.plant[at]]) if asks_kind else ("", "")
        found.append(Watered(digit, head, plant, fresh))
    return found


def _asked(row: Controller, stages: Mapping[str, tuple[Stage, ...]]) -> tuple[int | None, bool, int]:
    """Last digit of the house, whether rules go by head or plant, longest exemption of new plantings [d]."""
    mine = stages.get(row.site.rule_set, ())
    number = house_number(row.site.address) if mine else None
    # Rules ask for parity or the last digit only.
    digit = None if number is None else number % 10
    longest = max((stage.exempt_days_after_planting for stage in mine), default=0)
    return digit, any(stage.heads or stage.plants for stage in mine), longest


def stages_by_code(codes: set[str]) -> dict[str, tuple[Stage, ...]]:
    """Stages of the rule sets by code."""
    sets = RuleSet.objects.filter(code__in=codes).prefetch_related("stages")
    return {one.code: tuple(parse_stage(stage.spec) for stage in one.stages.all()) for one in sets}
