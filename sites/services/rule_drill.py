"""The watering-ban drill: a stage switched on a date, what breaks, and what the search puts in its place.

Nothing is written here: the search of the weekly round runs under rules that are not stored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

from sites.calc.program.check import program_lines_of
from sites.calc.program.days import days_words
from sites.calc.program.slots import set_slots
from sites.calc.rules.breaks import RuleBreak
from sites.calc.rules.file import parse_stage
from sites.calc.rules.stages import Stage
from sites.calc.rules.switch import switched_stages
from sites.calc.search.garden import Figures, figures
from sites.calc.search.settings import ProgramSettings
from sites.calc.search.trial import trial
from sites.models import Controller, ProgramSet, Recommendation, RecommendationLine
from sites.selectors.program_rules import open_stations, set_program_breaks_under
from sites.selectors.round_garden import garden_book
from sites.selectors.rules import RuleSetContent
from sites.services.weekly_round import sites_round

PAGE_SIZE: Final = 20
_AT_ONCE: Final = 1_000


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the best program of a controller does over four weeks; no words: none is possible."""

    program: tuple[str, ...]
    week_l: float
    need_met_pct: float | None
    dry_days: float
    binding: str


@dataclass(frozen=True, slots=True)
class DrillRow:
    """One controller whose program breaks: with which rule, and what comes in its place.

    `before` is the best under the rules as they stand, `after` under the switched ones; None: no weather, or
    no zones, to search with. `open_stations` may be watered even where no program of all is possible.
    """

    site: str
    controller: str
    address: str
    breaks: tuple[RuleBreak, ...]
    breaks_already: bool
    before: Outlook | None
    after: Outlook | None
    open_stations: tuple[int, ...] = ()

    @property
    def more_dry_days(self) -> float:
        """Dry zone-days in four weeks that the stage costs [d]."""
        return self.after.dry_days - self.before.dry_days if self.before and self.after else 0.0

    @property
    def less_l(self) -> float:
        """Water a week that is no longer given [L]; below 0 where more is."""
        return self.before.week_l - self.after.week_l if self.before and self.after else 0.0


@dataclass(frozen=True, slots=True)
class Drill:
    """What a switched stage does: counts over all controllers of the rule set, rows of one page."""

    stages: tuple[dict[str, object], ...]
    controllers: int
    without_program: int
    breaking: int
    breaking_already: int
    rows: tuple[DrillRow, ...]
    page: int
    pages: int

    @property
    def less_l(self) -> float:
        """Water a week that the rows' gardens lose [L]."""
        return sum(row.less_l for row in self.rows)

    @property
    def more_dry_days(self) -> float:
        """Dry zone-days in four weeks that the rows' gardens gain [d]."""
        return sum(row.more_dry_days for row in self.rows)

    @property
    def more_l(self) -> float:
        """Water a week that the rows' gardens take more [L]."""
        return -self.less_l

    @property
    def fewer_dry_days(self) -> float:
        """Dry zone-days in four weeks that the rows' gardens are spared [d]."""
        return -self.more_dry_days

    @property
    def impossible(self) -> int:
        """Rows for which no program is possible."""
        return sum(row.after is not None and not row.after.program for row in self.rows)


def run_drill(
    *,
    content: RuleSetContent,
    stage: dict[str, object],
    on: date,
    until: date | None,
    on_top: bool,
    today: date,
    price_per_m3: float,
    page: int = 1,
) -> Drill:
    """What would break if a stage came into force on a day, and what would replace it.

    Parameters
    ----------
    content
        The rule set as it stands.
    stage
        The stage in the words of the rules file.
    on, until
        First day, and the day after the last; None: no end known.
    on_top
        Whether the stages in force stay in force beside it.
    today
        Day of computing; depletion is that of the day before.
    price_per_m3
        Price of water.
    page
        Which page of the controllers that break; only theirs are searched.
    """
    specs = tuple(switched_stages(content.specs, stage, on=on, until=until, on_top=on_top))
    switched = tuple(parse_stage(spec) for spec in specs)
    bound = Controller.objects.filter(site__rule_set=content.code).order_by("site__code", "code")
    ids = list(bound.values_list("pk", flat=True))
    breaks: dict[int, tuple[RuleBreak, ...]] = {}
    already: set[int] = set()
    for left in range(0, len(ids), _AT_ONCE):
        some = ids[left : left + _AT_ONCE]
        new, old = set_program_breaks_under(
            controller_ids=some,
            first_day=on,
            under=[{content.code: switched}, {content.code: content.stages}],
        )
        breaks.update(new)
        already |= old.keys()
    has_program = ProgramSet.objects.filter(controller__site__rule_set=content.code, as_of__lte=on)
    known = set(has_program.values_list("controller_id", flat=True))
    breaking = [pk for pk in ids if pk in breaks]
    pages = max(-(-len(breaking) // PAGE_SIZE), 1)
    page = min(max(page, 1), pages)
    shown = breaking[(page - 1) * PAGE_SIZE : page * PAGE_SIZE]
    controllers = list(bound.filter(pk__in=shown).select_related("site"))
    sites = sorted({row.site_id for row in controllers})
    before = _outlooks(sites, on, today, price_per_m3, content.code, content.stages)
    after = _outlooks(sites, on, today, price_per_m3, content.code, switched)
    still_open = open_stations(controller_ids=shown, first_day=on, stages=switched)
    rows = tuple(
        DrillRow(
            site=row.site.code,
            controller=row.code,
            address=row.site.address or row.site.name,
            breaks=breaks[row.pk],
            breaks_already=row.pk in already,
            before=before.get(row.pk),
            after=after.get(row.pk),
            open_stations=still_open.get(row.pk, ()),
        )
        for row in controllers
    )
    return Drill(
        stages=specs,
        controllers=len(ids),
        without_program=len(set(ids) - known),
        breaking=len(breaking),
        breaking_already=len(already & set(breaking)),
        rows=rows,
        page=page,
        pages=pages,
    )


def _outlooks(
    site_ids: list[int], on: date, today: date, price_per_m3: float, code: str, stages: tuple[Stage, ...]
) -> dict[int, Outlook]:
    """The best program of each controller of some sites under some stages."""
    if not site_ids:
        return {}
    rows, _ = sites_round(site_ids, on, today, price_per_m3, ProgramSettings(), {code: stages})
    return {row.controller_id: _outlook(row, lines, on, today) for row, lines in rows}


def _outlook(row: Recommendation, lines: Sequence[RecommendationLine], on: date, today: date) -> Outlook:
    """A recommendation that was not stored, in figures and words; where none is possible, no watering."""
    if row.window_used_min is None:
        dry = _without_water(row.controller_id, on, today)
        met, days = (dry.adequacy_pct, dry.dry_days) if dry is not None else (None, 0.0)
        return Outlook((), 0.0, met, days, row.binding_limit)
    return Outlook(
        program=_program_words(lines),
        week_l=sum(line.week_volume_l or 0.0 for line in lines),
        need_met_pct=row.adequacy_pct,
        dry_days=sum(line.dry_days or 0.0 for line in lines),
        binding=row.binding_limit,
    )


def _without_water(controller_id: int, on: date, today: date) -> Figures | None:
    """What four weeks without any watering do to a garden."""
    book = garden_book(controller_id=controller_id, week=on, today=today)
    if book is None:
        return None
    given = book.garden.problem()
    days = np.arange(np.datetime64(on), np.datetime64(on) + given.settings.horizon_days)
    return figures(given, trial(given, set_slots(given, program_lines_of(given, [], on), days)))


def _program_words(lines: Sequence[RecommendationLine]) -> tuple[str, ...]:
    """A program in a line for each letter."""
    found = []
    for letter in sorted({line.letter for line in lines}):
        own = [line for line in lines if line.letter == letter]
        minutes = ", ".join(f"{line.station}: {line.run_min:g}" for line in own)
        starts = own[0].starts.replace(";", ", ")
        found.append(f"{letter}: {days_words(own[0].days)}, at {starts}; minutes by station {minutes}")
    return tuple(found)
