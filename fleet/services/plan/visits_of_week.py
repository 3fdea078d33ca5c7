"""Needs at one site merge into one visit of the week, as long as somebody can do all of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q

from fleet.calc.visits.value import merged_service_min
from fleet.models import Visit, VisitNeed

# States in which a visit is no longer the planner's.
SETTLED = (Visit.State.UNDER_WAY, Visit.State.DONE, Visit.State.NOT_POSSIBLE, Visit.State.CANCELLED)


@dataclass(frozen=True, slots=True)
class MergedVisit:
    """Needs of one site that one call can meet."""

    site_id: int
    needs: tuple[VisitNeed, ...]

    @property
    def skills(self) -> frozenset[str]:
        """All skills that its needs ask for."""
        return frozenset(skill for need in self.needs for skill in split_skills(need.skill))

    @property
    def service_min(self) -> float:
        """Time on the spot [min]."""
        return merged_service_min([need.service_min for need in self.needs])

    @property
    def value_per_day(self) -> float:
        """Value of a day of waiting [money/day]."""
        return sum(need.value_per_day for need in self.needs)


def split_skills(text: str) -> tuple[str, ...]:
    """Skills of a `;`-separated text."""
    return tuple(part.strip() for part in text.split(";") if part.strip())


def plannable_needs(*, monday: date, day: date | None) -> list[VisitNeed]:
    """Open needs that may be planned in a week (or on one day of it) and lack nothing."""
    end = (day or monday + timedelta(days=6)) + timedelta(days=1)
    start = day or monday
    # Called on this week already: whatever is still open after that waits for the next one.
    met = Visit.needs.through.objects.filter(
        visit__week=monday, visit__state__in=(Visit.State.UNDER_WAY, Visit.State.DONE)
    ).values("visitneed_id")
    return list(
        VisitNeed.objects.filter(state=VisitNeed.State.OPEN, blocked_by="")
        .filter(Q(earliest__isnull=True) | Q(earliest__date__lt=end))
        .filter(Q(latest__isnull=True) | Q(latest__date__gte=start))
        .exclude(pk__in=met)
        .order_by("site__code", "-value_per_day", "id")
    )


def merge_needs(needs: Iterable[VisitNeed], able: Sequence[frozenset[str]]) -> list[MergedVisit]:
    """One visit a site where its needs' hours meet and somebody has all the skills, else several.

    Parameters
    ----------
    needs
        Open needs.
    able
        Skills of each technician.
    """
    by_site: dict[int, list[VisitNeed]] = defaultdict(list)
    for need in needs:
        by_site[need.site_id].append(need)
    visits = []
    for site_id, own in by_site.items():
        groups: list[list[VisitNeed]] = []
        for need in sorted(own, key=lambda n: (-len(split_skills(n.skill)), -n.value_per_day, n.pk)):
            home = next((group for group in groups if _fits(group, need, able)), None)
            if home is None:
                groups.append([need])
            else:
                home.append(need)
        visits += [MergedVisit(site_id, tuple(sorted(group, key=lambda n: n.pk))) for group in groups]
    return visits


def _fits(group: list[VisitNeed], need: VisitNeed, able: Sequence[frozenset[str]]) -> bool:
    """Tell whether a need can be met in the same call."""
    skills = {skill for one in (*group, need) for skill in split_skills(one.skill)}
    alone = set(split_skills(need.skill))
    if not any(skills <= person for person in able) and any(alone <= person for person in able):
        return False
    start, end = hours_of([*group, need])
    return start is None or end is None or start <= end


def hours_of(needs: Iterable[VisitNeed]) -> tuple[datetime | None, datetime | None]:
    """Span in which service may start for all of these needs."""
    listed = list(needs)
    starts = [need.earliest for need in listed if need.earliest is not None]
    ends = [need.latest for need in listed if need.latest is not None]
    return max(starts, default=None), min(ends, default=None)


def write_visits(*, monday: date, merged: Sequence[MergedVisit]) -> list[Visit]:
    """Bring the week's visits in line with the merged needs; fixed visits keep their number and take more in.

    A visit that no need asks for any more is removed unless it was told, locked or begun.
    """
    held: dict[int, list[Visit]] = defaultdict(list)
    # Places held for a customer on the phone are nobody's home.
    for visit in Visit.objects.filter(week=monday, hold__isnull=True).order_by("site_id", "number"):
        held[visit.site_id].append(visit)
    old_needs: dict[int, set[int]] = defaultdict(set)
    links = Visit.needs.through.objects
    for visit_id, need_id in links.filter(visit__week=monday).values_list("visit_id", "visitneed_id"):
        old_needs[visit_id].add(need_id)
    fresh: list[Visit] = []
    changed: list[Visit] = []
    wanted: list[tuple[Visit, MergedVisit]] = []
    used: set[int] = set()
    for one in merged:
        home = _home(held[one.site_id], one, old_needs, used)
        if home is None:
            taken = {v.number for v in (*held[one.site_id], *(f for f in fresh if f.site_id == one.site_id))}
            number = next(n for n in range(1, len(taken) + 2) if n not in taken)
            visit = Visit(site_id=one.site_id, week=monday, number=number)
            fresh.append(visit)
        else:
            visit = home
            used.add(visit.pk)
        new = (one.service_min, one.value_per_day, ";".join(sorted(one.skills)))
        if (visit.service_min, visit.value_per_day, visit.skill) != new:
            visit.service_min, visit.value_per_day, visit.skill = new
            if home is not None:
                changed.append(visit)
        wanted.append((visit, one))
    Visit.objects.bulk_create(fresh, batch_size=1_000)
    Visit.objects.bulk_update(changed, ["service_min", "value_per_day", "skill"], batch_size=500)
    _write_links(wanted, old_needs)
    idle = [
        visit.pk
        for visits in held.values()
        for visit in visits
        if visit.pk not in used
        and visit.state == Visit.State.PLANNED
        and not visit.is_locked
        and visit.told_at is None
    ]
    Visit.objects.filter(pk__in=idle).delete()
    return [visit for visit, _ in wanted]


def _home(
    visits: list[Visit], one: MergedVisit, old_needs: dict[int, set[int]], used: set[int]
) -> Visit | None:
    """The visit that these needs had, else any free one of the site."""
    free = [visit for visit in visits if visit.pk not in used and visit.state not in SETTLED]
    own = {need.pk for need in one.needs}
    return max(
        free,
        key=lambda visit: (len(old_needs[visit.pk] & own), visit.is_locked, -visit.number),
        default=None,
    )


def _write_links(wanted: list[tuple[Visit, MergedVisit]], old_needs: dict[int, set[int]]) -> None:
    """Connect visits and needs; only what differs is written."""
    links = Visit.needs.through
    new, gone = [], Q(pk__in=[])
    for visit, one in wanted:
        own = {need.pk for need in one.needs}
        have = old_needs.get(visit.pk, set())
        new += [links(visit_id=visit.pk, visitneed_id=number) for number in sorted(own - have)]
        if have - own:
            gone |= Q(visit_id=visit.pk, visitneed_id__in=have - own)
    links.objects.filter(gone).delete()
    links.objects.bulk_create(new, batch_size=2_000, ignore_conflicts=True)
