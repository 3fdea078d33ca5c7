"""The day that breaks: what happened is entered, the new plan is shown, then accepted or discarded."""

from __future__ import annotations

from typing import Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.calc.plan.workdays import monday_of
from fleet.models import DayBreak
from fleet.selectors.company.company import company_day, company_moment, has_fixed_day, the_company
from fleet.selectors.plan.day_breaks import break_page, people_today, visits_ahead
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.services.plan.break_change import LEAK_PER_DAY, BreakAsked, CannotBreak
from fleet.services.plan.day_breaks import Overtaken, accept_break, discard_break, propose_break
from fleet.views.asked import asked_number, asking_user

KINDS: Final[tuple[tuple[str, str], ...]] = (
    ("late", "Running late"),
    ("urgent", "Urgent leak"),
    ("ill", "Ill today"),
    ("cancelled", "Customer cancelled"),
)


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Enter what happened (`?kind=`), and have the rest of the day worked out."""
    typed = request.POST if request.method == "POST" else request.GET
    kind = typed.get("kind", "late")
    kind = kind if any(kind == one for one, _ in KINDS) else "late"
    now = timezone.now()
    today = company_day(now=now)
    status = 200
    if request.method == "POST":
        try:
            return _propose(request, _asked(request, kind))
        except CannotBreak as error:
            messages.error(request, str(error))
            status = 422
    company = the_company()
    return render(
        request,
        "fleet/week/break_new.html",
        {
            "kind": kind,
            "kinds": KINDS,
            "people": people_today(day=today),
            "visits": visits_ahead(day=today),
            "typed": typed,
            "technician": asked_number(typed.get("technician")),
            "visit": asked_number(typed.get("visit")),
            "leak_per_day": LEAK_PER_DAY,
            "today": today,
            "moment": company_moment(now=now) if has_fixed_day() else None,
            "currency": company.currency if company else "",
        },
        status=status,
    )


@require_safe
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a proposal: what moves, by whom, when, and what it costs."""
    page = break_page(break_id=pk)
    if page is None:
        raise Http404
    company = the_company()
    return render(
        request,
        "fleet/week/break.html",
        {
            "page": page,
            "row": page.row,
            "monday": monday_of(page.row.day),
            "is_open": page.row.state == DayBreak.State.OPEN,
            "currency": company.currency if company else "",
            "saves": float(str(page.figures.get("drive_money", 0))) < 0,
            "money": abs(float(str(page.figures.get("drive_money", 0)))),
            "waits_less": float(str(page.figures.get("wait_money", 0))) < 0,
            "wait_money": abs(float(str(page.figures.get("wait_money", 0)))),
        },
    )


@require_POST
def accept(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a proposal in force; where the plan has changed since, work it out anew and say so."""
    by, now = asking_user(request).get_username(), timezone.now()
    row = DayBreak.objects.filter(pk=pk).first()
    if row is None:
        raise Http404
    board = f"{reverse('fleet:week')}?week={row.week.isoformat()}&day={row.day.isoformat()}"
    try:
        done = accept_break(break_id=pk, by=by, now=now)
    except CannotBreak as error:
        messages.error(request, str(error))
        return redirect("fleet:break", pk=pk)
    except Overtaken as error:
        discard_break(break_id=pk, by=by, now=now, overtaken=True)
        messages.warning(request, f"{error} Nothing was saved; below it is worked out anew.")
        try:
            return _propose(request, BreakAsked(**row.asked))
        except CannotBreak as reason:
            messages.error(request, str(reason))
            return redirect(board)
    calls = (
        f"{done.calls} customers are to be called." if done.calls != 1 else "One customer is to be called."
    )
    told = f" {calls}" if done.calls else " No customer has to be called."
    messages.success(request, f"The new plan is in force.{told} “Undo last change” takes it back.")
    return redirect(board)


@require_POST
def discard(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a proposal away."""
    done = discard_break(break_id=pk, by=asking_user(request).get_username(), now=timezone.now())
    if done.changed:
        messages.info(request, "The proposal is put away; the plan stays as it was.")
    else:
        messages.error(request, "This proposal was decided already.")
    return redirect("fleet:week")


def _propose(request: HttpRequest, asked: BreakAsked) -> HttpResponse:
    """Work a proposal out, and go to its page."""
    now = timezone.now()
    made = propose_break(
        asked=asked,
        day=company_day(now=now),
        moment=company_moment(now=now),
        by=asking_user(request).get_username(),
        now=now,
    )
    return redirect("fleet:break", pk=made.break_id)


def _asked(request: HttpRequest, kind: str) -> BreakAsked:
    """What the form says. Raises `CannotBreak`."""
    typed = request.POST
    site_id = 0
    if kind == DayBreak.Kind.URGENT:
        code = typed.get("site", "").strip()[:40]
        try:
            site_id = site_for(user=asking_user(request), code=code).pk
        except SiteNotOpen:
            raise CannotBreak(f"No garden has the code {code!r}. Look it up with the search above.") from None
    return BreakAsked(
        kind=kind,
        technician_id=asked_number(typed.get("technician")),
        minutes=asked_number(typed.get("minutes")),
        visit_id=asked_number(typed.get("visit")),
        again_from=typed.get("again_from", "").strip()[:10],
        site_id=site_id,
        reason=typed.get("reason", "").strip()[:400],
        service_min=_figure(typed.get("service_min", ""), 60.0, "Minutes on the spot"),
        value_per_day=_figure(typed.get("value_per_day", ""), LEAK_PER_DAY, "Cost of waiting"),
        skill=typed.get("skill", "").strip()[:200],
    )


def _figure(text: str, otherwise: float, name: str) -> float:
    """A number that was typed. Raises `CannotBreak`."""
    if not text.strip():
        return otherwise
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise CannotBreak(f"{name}: a number is expected, not {text[:20]!r}.") from None
