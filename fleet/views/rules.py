"""Watering rules: suppliers with the stage in force; one rule set with its week, sites and history."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.access import may_see
from fleet.charts.rule_week import week_grid
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.programs.rules_page import (
    OLD_AFTER_DAYS,
    Preview,
    address_preview,
    address_rows,
    bound_sites,
    first_bound,
    rules_list,
    site_by_code,
    site_preview,
    site_rules,
    stage_line,
)
from fleet.tasks import queue_stage
from fleet.templatetags.rootround import clock_text
from fleet.views.asked import asking_user
from fleet.views.asked_day import asked_day
from sites.calc.landscape import HEADS, PLANTS
from sites.calc.rules.stages import Stage, Watered, house_number
from sites.selectors.rules import rule_set_content, rule_versions
from sites.services.edit_rules import (
    NothingToRestore,
    RulesChangedMeanwhile,
    RuleSetBindsSites,
    RuleSetInvalid,
    RuleSetSaved,
    remove_rule_set,
    restore_rule_set,
)
from sites.services.programs import reopen_outside_programs

if TYPE_CHECKING:
    from sites.models import Site

LONGEST_TEXT = 200


@require_safe
def rules(request: HttpRequest) -> HttpResponse:
    """Show all rule sets by supplier."""
    found = rules_list(day=company_day(now=timezone.now()), clock=clock_of(request))
    facts = {
        "found": found,
        "old_after": OLD_AFTER_DAYS,
        "may_edit": may_edit(request),
    }
    return render(request, "fleet/rules.html", facts)


@require_safe
def rule_set(request: HttpRequest, code: str) -> HttpResponse:
    """Show one rule set: stages, a week under it, whom it binds, its history."""
    content = rule_set_content(code=code)
    if content is None:
        raise Http404
    today = company_day(now=timezone.now())
    clock = clock_of(request)
    page = request.GET.get("page", "1")
    sites = bound_sites(
        code=code, page=int(page) if page.isascii() and page.isdigit() and len(page) < 6 else 1
    )
    preview = preview_of(request, code=code, stages=content.stages, today=today)
    return render(
        request,
        "fleet/rule_set.html",
        {
            "content": content,
            "lines": [stage_line(spec, day=today, clock=clock) for spec in content.specs],
            "old_after": OLD_AFTER_DAYS,
            "sites": sites,
            "site_rows": address_rows(list(sites)),
            "versions": rule_versions(code=code),
            "may_edit": may_edit(request),
            **preview_facts(request, preview),
        },
    )


@require_POST
def restore(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring a version of a rule set back."""
    try:
        saved = restore_rule_set(change_id=pk, by=request.user.get_username(), at=timezone.now())
    except NothingToRestore as error:
        raise Http404 from error
    except (RuleSetInvalid, RulesChangedMeanwhile) as error:
        messages.error(request, f"Nothing was brought back. {error}")
        return redirect("fleet:rules")
    programs_anew(request, saved)
    return redirect("fleet:rule-set", saved.code)


@require_POST
def remove(request: HttpRequest, code: str) -> HttpResponse:
    """Take a rule set out that binds nobody."""
    try:
        remove_rule_set(
            code=code,
            version=request.POST.get("version", ""),
            by=request.user.get_username(),
            at=timezone.now(),
        )
    except (RulesChangedMeanwhile, RuleSetBindsSites) as error:
        messages.error(request, str(error))
        return redirect("fleet:rule-set", code)
    messages.success(request, f"{code} is removed. Its history keeps every version.")
    return redirect("fleet:rules")


def programs_anew(request: HttpRequest, saved: RuleSetSaved) -> None:
    """Take back accepted programs that the changed rules bar, ask for the round anew, and say so."""
    if not saved.changed:
        messages.success(request, f"{saved.code} says this already; nothing changed.")
        return
    now = timezone.now()
    reopened = reopen_outside_programs(rule_set=saved.code, by=request.user.get_username(), at=now)
    words = f"{saved.code} is saved."
    if reopened:
        words += f" {reopened} accepted programs break the new rules and are to be decided again."
    if first_bound(code=saved.code) is not None:
        queue_stage(stage="weekly_round", scope="all", day=company_day(now=now))
        words += " The weekly round is asked to find programs anew under the new rules."
    messages.success(request, words)


def clock_of(request: HttpRequest) -> Callable[[int], str]:
    """How the reader wants times of day; the end of a day reads 24:00 or midnight."""
    is_12_hour = not asking_user(request).clock_24h

    def clock(minute: int) -> str:
        if minute >= 1440:
            return "midnight" if is_12_hour else "24:00"
        return clock_text(minute, is_12_hour=is_12_hour)

    return clock


def preview_of(request: HttpRequest, *, code: str, stages: Sequence[Stage], today: date) -> Preview | None:
    """The week that the page's form asks for: a site, or an address with head and plant."""
    ask = request.GET if request.method != "POST" else request.POST
    clock, first_day = clock_of(request), day_of(ask.get("week", "")) or next_monday(today)
    address = ask.get("address", "")[:LONGEST_TEXT].replace("\x00", "").strip()
    if address:
        company = the_company()
        watered = Watered(
            house_number(address),
            ask.get("head", "") if ask.get("head") in HEADS else "",
            ask.get("plant", "") if ask.get("plant") in PLANTS else "",
            day_of(ask.get("planted", "")),
        )
        return address_preview(
            address=address,
            watered=watered,
            stages=stages,
            first_day=first_day,
            timezone=company.timezone if company else "UTC",
            clock=clock,
        )
    wanted = ask.get("site", "")[:40].replace("\x00", "").strip()
    site = site_by_code(code=wanted) if wanted else first_bound(code=code)
    if site is None:
        return Preview(wanted, first_day, (), f"No site has the code {wanted}.") if wanted else None
    return site_preview(site=site, stages=stages, first_day=first_day, clock=clock)


def preview_facts(request: HttpRequest, preview: Preview | None) -> dict[str, object]:
    """What the preview's part of a page needs."""
    is_12_hour = not asking_user(request).clock_24h
    weeks = [(week, week_grid(week, is_12_hour=is_12_hour)) for week in preview.weeks] if preview else []
    ask = request.GET if request.method != "POST" else request.POST
    return {"preview": preview, "weeks": weeks, "ask": ask, "heads": HEADS, "plants": PLANTS}


def rules_panel(request: HttpRequest, *, site: Site, today: date) -> dict[str, object]:
    """The week from today on under the rules of a site, for a small panel of its page."""
    preview = site_rules(site=site, first_day=today, clock=clock_of(request))
    is_12_hour = not asking_user(request).clock_24h
    weeks = preview.weeks if preview else ()
    drawn = [(week, week_grid(week, width_px=460, row_px=18, is_12_hour=is_12_hour)) for week in weeks]
    return {"preview": preview, "weeks": drawn, "is_small": True, "may_see_rules": _may_open(request)}


def next_monday(today: date) -> date:
    """The first day of next week."""
    return today + timedelta(days=7 - today.weekday())


def day_of(text: str) -> date | None:
    """The day of a text within this and the next century, None where it is none."""
    try:
        day = asked_day(text)
    except ValueError:
        return None
    return day if 1990 <= day.year <= 2190 else None


def _may_open(request: HttpRequest) -> bool:
    """Whether the reader may open the rules' own pages."""
    return may_see(asking_user(request).role, "fleet:rules")


def may_edit(request: HttpRequest) -> bool:
    """Whether the reader may change rules."""
    return may_see(asking_user(request).role, "fleet:rule-edit")
