"""Pages of the watering rules: stages in force by supplier, whom a rule set binds, a week under it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.core.paginator import Page, Paginator
from django.db.models import Count

from sites.calc.rules.file import parse_stage
from sites.calc.rules.stages import AddressUnknownError, Stage, Watered, house_number
from sites.calc.rules.week import RuleWeek, rule_weeks
from sites.calc.rules.words import stage_words
from sites.models import RuleSet, RuleStage, Site
from sites.selectors.rules import watered_zones

# After so many days without a look at the supplier's own words, rules are said to be old. Common practice.
OLD_AFTER_DAYS: Final = 90
SITES_A_PAGE: Final = 40
Clock = Callable[[int], str]


@dataclass(frozen=True, slots=True)
class StageLine:
    """One stage on a page: `state` is `now`, `coming` or `over`."""

    name: str
    state: str
    starts_on: date | None
    ends_on: date | None
    words: tuple[str, ...]
    source: str
    checked_on: date | None
    age_days: int | None

    @property
    def is_old(self) -> bool:
        """Whether nobody looked at the supplier's own words for long, or ever."""
        return self.age_days is None or self.age_days > OLD_AFTER_DAYS


@dataclass(frozen=True, slots=True)
class RuleSetRow:
    """A rule set on the list. `is_known` is False for a code that sites name and the book lacks."""

    code: str
    supplier: str
    lines: tuple[StageLine, ...]
    sites: int
    is_known: bool = True

    @property
    def now(self) -> tuple[StageLine, ...]:
        """Stages in force."""
        return tuple(line for line in self.lines if line.state == "now")

    @property
    def next_change(self) -> tuple[date, str] | None:
        """Day and words of the next dated change, None where none is known."""
        changes = [(line.starts_on, f"“{line.name}” begins") for line in self.lines if line.state == "coming"]
        changes += [(line.ends_on, f"“{line.name}” ends") for line in self.now]
        dated = [(day, words) for day, words in changes if day is not None]
        return min(dated, default=None)

    @property
    def checked_on(self) -> date | None:
        """Oldest look at a stage in force; None: one was never checked."""
        days = [line.checked_on for line in self.now or self.lines]
        known = [day for day in days if day is not None]
        return min(known) if known and len(known) == len(days) else None

    @property
    def is_old(self) -> bool:
        """Whether a stage in force is old."""
        return any(line.is_old for line in self.now)


@dataclass(frozen=True, slots=True)
class RulesList:
    """All rule sets by supplier, and sites that no rules bind."""

    rows: tuple[RuleSetRow, ...]
    sites: int
    without: int

    @property
    def bound(self) -> int:
        """Sites that a known rule set binds."""
        return sum(row.sites for row in self.rows if row.is_known)

    @property
    def old(self) -> int:
        """Rule sets whose words are old."""
        return sum(row.is_old for row in self.rows)


@dataclass(frozen=True, slots=True)
class BoundSite:
    """A site that a rule set binds, with what its address tells."""

    code: str
    name: str
    address: str
    number: int | None


@dataclass(frozen=True, slots=True)
class Preview:
    """A week under rules for one place; `problem` says why there is none."""

    title: str
    first_day: date
    weeks: tuple[RuleWeek, ...]
    problem: str = ""


def stage_line(spec: dict[str, object], *, day: date, clock: Clock) -> StageLine:
    """A stage in words, as it stands on a day."""
    stage = parse_stage(spec)
    checked = date.fromisoformat(str(spec["checked_on"])) if spec.get("checked_on") else None
    if stage.ends_on is not None and stage.ends_on <= day:
        state = "over"
    else:
        state = "coming" if stage.starts_on is not None and stage.starts_on > day else "now"
    return StageLine(
        name=stage.name,
        state=state,
        starts_on=stage.starts_on,
        ends_on=stage.ends_on,
        words=stage_words(stage, clock),
        source=str(spec.get("source") or ""),
        checked_on=checked,
        age_days=None if checked is None else (day - checked).days,
    )


def rules_list(*, day: date, clock: Clock) -> RulesList:
    """Every rule set, by supplier, with what is in force on a day."""
    bound = dict(Site.objects.order_by("rule_set").values_list("rule_set").annotate(sites=Count("pk")))
    rows = [
        RuleSetRow(
            code=one.code,
            supplier=one.supplier,
            lines=tuple(stage_line(stage.spec, day=day, clock=clock) for stage in one.stages.all()),
            sites=bound.get(one.code, 0),
        )
        for one in RuleSet.objects.prefetch_related("stages").order_by("supplier", "code")
    ]
    known = {row.code for row in rows}
    rows += [
        RuleSetRow(code, "", (), sites, is_known=False)
        for code, sites in sorted(bound.items())
        if code and code not in known
    ]
    return RulesList(tuple(rows), sum(bound.values()), bound.get("", 0))


def bound_sites(*, code: str, page: int) -> Page[Site]:
    """Sites that go by a rule set, by code."""
    return Paginator(Site.objects.filter(rule_set=code).order_by("code"), SITES_A_PAGE).get_page(page)


def address_rows(sites: Sequence[Site]) -> list[BoundSite]:
    """Sites with the house number that rules would take."""
    return [BoundSite(site.code, site.name, site.address, house_number(site.address)) for site in sites]


def first_bound(*, code: str) -> Site | None:
    """A site to show a week of: the first that the rule set binds."""
    return Site.objects.filter(rule_set=code).order_by("code").first()


def site_by_code(*, code: str) -> Site | None:
    """A site of the book by its code, for office pages."""
    return Site.objects.filter(code=code).first()


def site_preview(*, site: Site, stages: Sequence[Stage], first_day: date, clock: Clock) -> Preview:
    """Which hours a site may water in the week from a day on, by zones where they differ."""
    return _preview(
        f"{site.code} {site.address or site.name}",
        watered_zones(site=site),
        stages,
        first_day,
        site.timezone,
        clock,
    )


def address_preview(
    *,
    address: str,
    watered: Watered,
    stages: Sequence[Stage],
    first_day: date,
    timezone: str,
    clock: Clock,
) -> Preview:
    """Which hours an address may water in the week from a day on."""
    kinds = [word.replace("_", " ") for word in (watered.head, watered.plant) if word]
    label = ", ".join(kinds) or "any head and plant"
    return _preview(address or "any address", [(label, watered)], stages, first_day, timezone, clock)


def _preview(
    title: str,
    kinds: list[tuple[str, Watered]],
    stages: Sequence[Stage],
    first_day: date,
    timezone: str,
    clock: Clock,
) -> Preview:
    """The week, or why it cannot be told."""
    try:
        weeks = rule_weeks(stages, kinds, first_day=first_day, timezone=timezone, clock=clock)
    except AddressUnknownError as error:
        return Preview(title, first_day, (), f"{str(error)[:1].upper()}{str(error)[1:]}.")
    return Preview(title, first_day, weeks)


def site_rules(*, site: Site, first_day: date, clock: Clock) -> Preview | None:
    """The week of a site under its own rule set; None where it names none."""
    if not site.rule_set:
        return None
    specs = list(RuleStage.objects.filter(rule_set__code=site.rule_set).values_list("spec", flat=True))
    if not specs and not RuleSet.objects.filter(code=site.rule_set).exists():
        problem = f"The book names the rules {site.rule_set}, but holds none of that name."
        return Preview(site.code, first_day, (), problem)
    return site_preview(
        site=site, stages=[parse_stage(spec) for spec in specs], first_day=first_day, clock=clock
    )
