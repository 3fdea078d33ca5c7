"""Service contracts as they stand: what each includes in its year, what was used of it, when it ends.

Used are finished visits that met what they were made for. Not counted: visits whose needs all had an approved
quote, since the customer pays for those apart, and errands of our own (missing logs, surveys).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Final, NamedTuple

from django.db.models import Max

from fleet.calc.visits.contracts import (
    CONTRACT_KINDS,
    CONTRACT_WORDS,
    ContractUse,
    ContractYear,
    VisitMade,
    contract_use,
    year_shown,
)
from fleet.calc.visits.settings import VisitSettings, planned_min, visit_settings
from fleet.models import Company, ContractVisits, Quote, ServiceContract, Stop, Visit, VisitKind, VisitNeed
from sites.models import Site

DUE_DAYS: Final = 90
NeedFacts = tuple[str, str, str | None]  # kind, state, state of its quote
OWN_ERRANDS: Final = frozenset({VisitKind.LOG_MISSING.value, VisitKind.SURVEY.value})


@dataclass(frozen=True, slots=True)
class ContractStanding:
    """A contract as it stands on a day; `year` is the contract's year that concerns it."""

    contract: ServiceContract
    year: ContractYear
    use: ContractUse
    today: date
    is_renewed: bool  # a later one of the garden follows

    @property
    def days_left(self) -> int:
        """Days to its end; 0 or less: it is over."""
        return (self.contract.ends_on - self.today).days

    @property
    def last_day(self) -> date:
        """The last day that belongs to it."""
        return self.contract.ends_on - timedelta(days=1)

    @property
    def notice_by(self) -> date:
        """The day by which whoever does not renew says so."""
        return self.contract.ends_on - timedelta(days=self.contract.notice_days)

    @property
    def is_notice_past(self) -> bool:
        """Whether that day is over."""
        return self.notice_by < self.today

    @property
    def is_ahead(self) -> bool:
        """Whether it has not begun."""
        return self.contract.starts_on > self.today

    @property
    def is_over(self) -> bool:
        """Whether its last day is past."""
        return self.days_left <= 0

    @property
    def is_due(self) -> bool:
        """Whether it ends within 90 days and none follows."""
        return 0 < self.days_left <= DUE_DAYS and not self.is_renewed

    @property
    def is_unused(self) -> bool:
        """Whether it runs, includes visits, and none was made in its year."""
        return not self.is_ahead and not self.is_over and self.use.included > 0 and self.use.made == 0

    @property
    def words(self) -> tuple[tuple[str, int, int, int, int], ...]:
        """(kind in words, used, included, left, over) of each kind, those of any kind last."""
        named = [(_short(one.kind), one.used, one.included, one.left, one.over) for one in self.use.kinds]
        rest = self.use.any_kind
        other = rest.used - sum(one.over for one in self.use.kinds)
        if rest.included:
            named.append(("of any kind", rest.used, rest.included, rest.left, rest.over))
        elif other > 0:
            named.append(("other kinds", other, 0, 0, other))
        return tuple(named)


def contract_standing(*, site: Site, today: date) -> ContractStanding | None:
    """The contract in force, else the last one that was, else the first to come; None: there is none."""
    rows = list(ServiceContract.objects.filter(site=site).order_by("starts_on"))
    if not rows:
        return None
    begun = [row for row in rows if row.starts_on <= today]
    running = [row for row in begun if row.ends_on > today]
    row = running[-1] if running else begun[-1] if begun else rows[0]
    return standings(contracts=[row], today=today, site_ids=[site.pk])[0]


def standings(
    *, contracts: Sequence[ServiceContract], today: date, site_ids: Collection[int] | None = None
) -> list[ContractStanding]:
    """How contracts stand on a day, in five queries for all of them.

    Parameters
    ----------
    contracts
        The contracts.
    today
        The day.
    site_ids
        Their gardens, where they are few; None: all gardens are read at once.
    """
    years = {one.pk: year_shown(today, one.starts_on, one.ends_on) for one in contracts}
    uses = contract_uses(years=years, contracts=contracts, site_ids=site_ids)
    ends = ServiceContract.objects.order_by()
    if site_ids is not None:
        ends = ends.filter(site_id__in=site_ids)
    last = dict(ends.values_list("site_id").annotate(last=Max("ends_on")))
    return [
        ContractStanding(one, years[one.pk], uses[one.pk], today, last[one.site_id] > one.ends_on)
        for one in contracts
    ]


def contract_uses(
    *,
    years: Mapping[int, ContractYear],
    contracts: Sequence[ServiceContract],
    site_ids: Collection[int] | None = None,
) -> dict[int, ContractUse]:
    """What visits used of one year of each contract.

    Parameters
    ----------
    years
        The year to look at, by contract.
    contracts
        The contracts.
    site_ids
        Their gardens; None: all are read at once.
    """
    if not contracts:
        return {}
    lines = contract_lines(contract_ids=None if site_ids is None else [one.pk for one in contracts])
    made = visits_made(
        first=min(year.start for year in years.values()),
        end=max(year.end for year in years.values()),
        site_ids=site_ids,
    )
    money = _money()
    planned = {kind: planned_min(money, kind) / 60 * money.cost_per_hour for kind in CONTRACT_KINDS}
    planned[""] = planned["repair"]
    found = {}
    for one in contracts:
        year, own = years[one.pk], lines.get(one.pk, ())
        before: dict[str, int] = {}
        if one.used_as_of is not None and year.holds(one.used_as_of):
            before = {line.kind: line.used_before for line in own} | {"": one.used_before}
        found[one.pk] = contract_use(
            {line.kind: line.most for line in own},
            one.visits_included,
            (visit for visit in made.get(one.site_id, ()) if year.holds(visit.day)),
            before,
            planned,
        )
    return found


class IncludedLine(NamedTuple):
    """Visits of a kind that a contract includes a year, and those made before the book kept them."""

    kind: str
    most: int
    used_before: int


def contract_lines(*, contract_ids: Collection[int] | None) -> dict[int, tuple[IncludedLine, ...]]:
    """Visits that contracts include by kind, in the order in which a year brings them."""
    rows = ContractVisits.objects.order_by()
    if contract_ids is not None:
        rows = rows.filter(contract_id__in=contract_ids)
    found: dict[int, list[IncludedLine]] = defaultdict(list)
    for contract, kind, count, used in rows.values_list("contract_id", "kind", "count", "used_before"):
        found[contract].append(IncludedLine(kind, count, used))
    places = {kind: place for place, kind in enumerate(CONTRACT_KINDS)}
    return {
        pk: tuple(sorted(own, key=lambda one: places.get(one.kind, len(places)))) for pk, own in found.items()
    }


@dataclass(frozen=True, slots=True)
class CountedVisit(VisitMade):
    """A finished visit with why it counts, or does not."""

    visit_id: int = 0
    paid: frozenset[str] = frozenset()  # kinds with an approved quote


def visits_made(
    *, first: date, end: date, site_ids: Collection[int] | None = None
) -> dict[int, list[CountedVisit]]:
    """Visits that count against contracts, by garden, in the order of their days; two queries.

    Parameters
    ----------
    first, end
        First day, and the day after the last.
    site_ids
        Gardens to look at; None: all.
    """
    return {
        site: own
        for site, rows in finished_visits(first=first, end=end, site_ids=site_ids).items()
        if (own := [one for one, counts in rows if counts])
    }


def finished_visits(
    *, first: date, end: date, site_ids: Collection[int] | None = None
) -> dict[int, list[tuple[CountedVisit, bool]]]:
    """Every finished visit by garden, and whether it counts against a contract."""
    stops = Stop.objects.filter(
        state=Stop.State.FINISHED, visit__isnull=False, route__day__gte=first, route__day__lt=end
    )
    if site_ids is not None:
        stops = stops.filter(visit__site_id__in=site_ids)
    links = Visit.needs.through.objects.filter(visit__stops__in=stops)
    needs: dict[int, tuple[NeedFacts, ...]] = {}
    for visit, kind, state, quote in links.values_list(
        "visit_id", "visitneed__kind", "visitneed__state", "visitneed__quote__state"
    ):
        needs[visit] = (*needs.get(visit, ()), (kind, state, quote))
    money = _money()
    found: dict[int, list[tuple[CountedVisit, bool]]] = defaultdict(list)
    rows = stops.order_by("route__day", "pk").values_list(
        "visit_id", "visit__site_id", "route__day", "drive_min", "drive_km", "visit__service_min"
    )
    for pk, site, day, drive_min, km, service_min in rows:
        met, paid, counts = _what_counts(needs.get(pk, ()))
        cost = (drive_min + service_min) / 60 * money.cost_per_hour + km * money.cost_per_km
        found[site].append((CountedVisit(day, met, cost, pk, paid), counts))
    return found


@lru_cache(maxsize=4_096)
def _what_counts(needs: tuple[NeedFacts, ...]) -> tuple[frozenset[str], frozenset[str], bool]:
    """Kinds that were met, kinds that are paid for apart, and whether the visit counts.

    A visit of which nobody noted what it was for counts, too.
    """
    listed = [one for one in needs if one[0] not in OWN_ERRANDS]
    paid = frozenset(kind for kind, _, quote in listed if quote == Quote.State.APPROVED)
    met = frozenset(
        kind
        for kind, state, quote in listed
        if quote != Quote.State.APPROVED and state == VisitNeed.State.DONE
    )
    return met, paid, bool(met) or not needs


def _money() -> VisitSettings:
    """The company's prices."""
    company = Company.objects.only("settings").first()
    return visit_settings(company.settings if company else {})


def _short(kind: str) -> str:
    """A kind in a word or two, as contracts call it."""
    return CONTRACT_WORDS.get(kind, str(dict(VisitKind.choices).get(kind, kind)))
