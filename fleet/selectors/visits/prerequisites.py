"""What open needs lack, and whose truck can make which visit."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from fleet.calc.visits.prerequisites import PartsShare, PartsWanted, able_on, share_parts
from fleet.calc.visits.value import CERTIFIED
from fleet.models import Certificate, Part, PartForKind, Quote, StockPlace, Technician, VisitKind, VisitNeed
from fleet.selectors.company.stock import stock_of

# Kinds of work that break the ground: sensor wire trenches are digs too.
DIG_KINDS: Final = (VisitKind.DIG, VisitKind.SENSOR_INSTALL)
NO_TICKET: Final = (
    "No valid locate ticket: have buried utilities located before anybody digs, then enter its number."
)
NO_TESTER: Final = (
    "No certified tester: nobody at work holds a valid certificate for {skill}. One noted frees it."
)
NO_PARTS: Final = (
    "Parts: no truck or depot has enough of {parts} left. {more} loaded or bought in would free it."
)
NO_WORD: Final = {
    "": "The customer's approval: no quote has been made. Make one.",
    Quote.State.DRAFT: "The customer's approval: quote Q-{pk} is a draft. Send it.",
    Quote.State.SENT: "The customer's approval: quote Q-{pk} waits for the customer.",
    Quote.State.DECLINED: "The customer declined quote Q-{pk}.",
    Quote.State.EXPIRED: "Quote Q-{pk} expired without the customer's word.",
}


@dataclass(frozen=True, slots=True)
class Prerequisite:
    """One thing that must be there first; `detail` says what is, or what lacks."""

    word: str
    is_met: bool
    detail: str


@dataclass(frozen=True, slots=True)
class Supplies:
    """What prerequisites are held against: parts by kind, certificates, stock."""

    by_kind: Mapping[str, Mapping[str, int]]  # kind -> part code -> count
    names: Mapping[str, str]
    trucks: Mapping[str, Mapping[str, int]]  # technician code -> part code -> count
    depot: Mapping[str, int]
    skills: Mapping[str, frozenset[str]]  # technician code
    certificates: Mapping[str, Mapping[str, date]]  # technician code -> skill -> last day

    def parts_of(self, kinds: Iterable[str]) -> dict[str, int]:
        """Parts of a visit of some kinds together."""
        found: dict[str, int] = {}
        for kind in kinds:
            for part, count in self.by_kind.get(kind, {}).items():
                found[part] = found.get(part, 0) + count
        return found

    def has_tester(self, skill: str, day: date) -> bool:
        """Whether somebody's certificate for a skill is valid on a day."""
        return any(
            skill in able_on(own, self.certificates.get(who, {}), day) for who, own in self.skills.items()
        )


def supplies() -> Supplies:
    """Everything that prerequisites are held against, in six queries."""
    by_kind: dict[str, dict[str, int]] = defaultdict(dict)
    for kind, part, count in PartForKind.objects.values_list("kind", "part__code", "count"):
        by_kind[kind][part] = count
    trucks: dict[str, dict[str, int]] = {}
    skills: dict[str, frozenset[str]] = {}
    for code, text in Technician.objects.filter(is_active=True).values_list("code", "skills"):
        trucks[code] = {}
        skills[code] = frozenset(part.strip() for part in text.split(";") if part.strip())
    depot: dict[str, int] = defaultdict(int)
    if by_kind:
        codes = dict(Part.objects.values_list("pk", "code"))
        homes = dict(StockPlace.objects.values_list("pk", "technician__code"))
        for (place, part_id), held in stock_of().items():
            who = homes[place]
            if who is None:
                depot[codes[part_id]] += max(0, held)
            elif who in trucks:
                trucks[who][codes[part_id]] = held
    return Supplies(
        by_kind,
        dict(Part.objects.values_list("code", "name")) if by_kind else {},
        trucks,
        depot,
        skills,
        certificates_by_code(),
    )


def certificates_by_code() -> dict[str, dict[str, date]]:
    """Last day of the newest certificate, by technician and skill."""
    found: dict[str, dict[str, date]] = defaultdict(dict)
    rows = Certificate.objects.order_by("valid_until")
    for code, skill, last in rows.values_list("technician__code", "skill", "valid_until"):
        found[code][skill] = last
    return found


def lacking(needs: Sequence[VisitNeed], *, day: date) -> dict[int, tuple[str, ...]]:
    """What each open need lacks on a day, in sentences; those that lack nothing are there too.

    Parameters
    ----------
    needs
        Open needs with `quote`; parts go to the most valuable first.
    day
        The day.
    """
    held = supplies()
    plain = {need.pk: _without_parts(need, held, day) for need in needs}
    ready = sorted((n for n in needs if not plain[n.pk]), key=lambda n: (-n.value_per_day, n.pk))
    shares = share_parts([PartsWanted(n.pk, held.parts_of([n.kind])) for n in ready], held.trucks, held.depot)
    return {need.pk: (*plain[need.pk], *_parts_words(held, shares.get(need.pk), need)) for need in needs}


def parts_shares(wanted: Sequence[PartsWanted], held: Supplies) -> dict[int, PartsShare]:
    """Whose trucks may make which visits."""
    return share_parts(wanted, held.trucks, held.depot)


def prerequisites_of(need: VisitNeed, *, day: date) -> tuple[Prerequisite, ...]:
    """Everything that must be there before one need can be planned, met or not."""
    held = supplies()
    found = []
    if need.kind in DIG_KINDS:
        words = (
            f"{need.locate_ticket}, valid until {need.locate_valid_until:%-d %b %Y}"
            if need.locate_ticket and need.locate_valid_until
            else "none"
        )
        found.append(Prerequisite("Locate ticket", _ticket_holds(need, day), words))
    for skill in _certified_of(need):
        who = [
            code
            for code, own in held.skills.items()
            if skill in able_on(own, held.certificates.get(code, {}), day)
        ]
        found.append(
            Prerequisite("Certified tester", bool(who), ", ".join(who) or NO_TESTER.format(skill=skill))
        )
    parts = held.parts_of([need.kind])
    if parts:
        listed = ", ".join(f"{count} {held.names[part]}" for part, count in parts.items())
        rows = VisitNeed.objects.filter(state=VisitNeed.State.OPEN, kind__in=held.by_kind).select_related(
            "quote"
        )
        lacks = lacking(list(rows), day=day).get(need.pk, ())
        no_parts = [words for words in lacks if words.startswith("Parts:")]
        found.append(Prerequisite("Parts on the truck", not no_parts, listed))
    if need.needs_approval or need.quote_id:
        word = _approval(need)
        how = f"{need.quote}, {need.quote.decided_how}" if need.quote else ""
        found.append(Prerequisite("Customer's approval", not word, word or how))
    return tuple(found)


def _without_parts(need: VisitNeed, held: Supplies, day: date) -> tuple[str, ...]:
    """What a need lacks besides parts."""
    words = []
    if need.kind in DIG_KINDS and not _ticket_holds(need, day):
        words.append(NO_TICKET)
    words += [NO_TESTER.format(skill=s) for s in _certified_of(need) if not held.has_tester(s, day)]
    if approval := _approval(need):
        words.append(approval)
    return tuple(words)


def _ticket_holds(need: VisitNeed, day: date) -> bool:
    """Whether the ticket is valid on the day: its last day counts."""
    last = need.locate_valid_until
    return bool(need.locate_ticket) and last is not None and last >= day


def _certified_of(need: VisitNeed) -> list[str]:
    """Skills of a need that ask for a certificate."""
    return sorted(CERTIFIED & {part.strip() for part in need.skill.split(";")})


def _approval(need: VisitNeed) -> str:
    """What lacks of the customer's word, empty: nothing."""
    if need.quote is None:
        return NO_WORD[""] if need.needs_approval else ""
    if need.quote.state == Quote.State.APPROVED:
        return ""
    return NO_WORD[need.quote.state].format(pk=need.quote.pk)


def _parts_words(held: Supplies, share: PartsShare | None, need: VisitNeed) -> tuple[str, ...]:
    """What lacks of the parts."""
    if share is None or share.trucks is None or share.trucks:
        return ()
    wanted = held.parts_of([need.kind])
    missing = list(share.missing or wanted)
    listed = ", ".join(held.names[part] for part in missing)
    more = ", ".join(f"{wanted[part]} {held.names[part]}" for part in missing)
    return (NO_PARTS.format(parts=listed, more=more),)
