"""Customers to ring: old and new hours, what to say, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from urllib.parse import quote
from zoneinfo import ZoneInfo

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet

from fleet.calc.plan.call_text import moved_text
from fleet.models import CustomerCall
from fleet.selectors.company.company import the_company
from fleet.selectors.plan.stop_rows import company_zone, zone_of

PAGE: Final = 50
SHOWS: Final[tuple[tuple[str, str], ...]] = (
    ("open", "To call"),
    ("other_time", "Want another time"),
    ("all", "All"),
)
# Begin and end of hours -> the words for them.
Words = Callable[[datetime, datetime], str]


@dataclass(frozen=True, slots=True)
class CallRow:
    """One call. Times are the garden's; `say` is to be read out, `mail` a link with the text to send."""

    call: CustomerCall
    site: str
    site_name: str
    customer: str
    phone: str
    email: str
    need_id: int | None
    old_from: datetime | None
    old_to: datetime | None
    new_from: datetime | None
    new_to: datetime | None
    say: str
    write: str
    mail: str
    waits: bool


@dataclass(frozen=True, slots=True)
class CallList:
    """A page of calls, those to be made first."""

    rows: tuple[CallRow, ...]
    page: Page[CustomerCall]
    open: int
    other_time: int


def open_calls() -> int:
    """How many customers are to be rung still."""
    return CustomerCall.objects.filter(outcome__in=CustomerCall.WAITS).count()


def call_list(*, show: str, page: int, words: Words) -> CallList:
    """The calls of a page.

    Parameters
    ----------
    show
        `open`, `other_time`, or `all`.
    page
        From 1.
    words
        How hours are said.
    """
    found = _shown(show).select_related("visit__site").prefetch_related("visit__needs")
    part: Page[CustomerCall] = Paginator(found, PAGE).get_page(page)
    company = the_company()
    name, ours = company.name if company else "", company_zone()
    return CallList(
        rows=tuple(_row(call, name, words, ours) for call in part.object_list),
        page=part,
        open=open_calls(),
        other_time=CustomerCall.objects.filter(outcome=CustomerCall.Outcome.OTHER_TIME).count(),
    )


def _shown(show: str) -> QuerySet[CustomerCall]:
    """Calls of a filter; of the open ones the customer whom we said we would see first is rung first."""
    if show == "all":
        return CustomerCall.objects.order_by("-made_at", "pk")
    if show == "other_time":
        return CustomerCall.objects.filter(outcome=CustomerCall.Outcome.OTHER_TIME).order_by("-made_at", "pk")
    waiting = CustomerCall.objects.filter(outcome__in=CustomerCall.WAITS)
    return waiting.order_by("old_from", "new_from", "pk")


def _row(call: CustomerCall, company: str, words: Words, ours: ZoneInfo) -> CallRow:
    """A call with its words."""
    site = call.visit.site
    zone = zone_of(site.timezone, ours)
    old = tuple(one.astimezone(zone) if one else None for one in (call.old_from, call.old_to))
    new = tuple(one.astimezone(zone) if one else None for one in (call.new_from, call.new_to))

    def text(*, by_mail: bool) -> str:
        return moved_text(
            company=company,
            site_name=site.name,
            why=call.why,
            old=words(old[0], old[1]) if old[0] and old[1] else "",
            new=words(new[0], new[1]) if new[0] and new[1] else "",
            technician=call.technician,
            by_mail=by_mail,
        )

    write = text(by_mail=True)
    subject = f"{site.name}: another time for our visit"
    mail = f"mailto:{quote(site.email, safe='@')}?subject={quote(subject)}&body={quote(write)}"
    need = next(iter(call.visit.needs.all()), None)
    return CallRow(
        call=call,
        site=site.code,
        site_name=site.name,
        customer=site.customer,
        phone=site.phone,
        email=site.email,
        need_id=need.pk if need else None,
        old_from=old[0],
        old_to=old[1],
        new_from=new[0],
        new_to=new[1],
        say=text(by_mail=False),
        write=write,
        mail=mail if site.email else "",
        waits=call.outcome in CustomerCall.WAITS,
    )
