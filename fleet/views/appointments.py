"""A customer on the phone: cheapest hours of the week, one held for ten minutes, then confirmed."""

from __future__ import annotations

from typing import Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from fleet.models import HeldWindow, VisitKind
from fleet.selectors.company.company import company_day, company_moment, the_company
from fleet.selectors.plan.holds import live_holds, phone_visit
from fleet.selectors.site.access import SiteNotOpen, site_for
from fleet.services.plan.appointments import confirm_hold, hold_window, release_hold, visit_for_need
from fleet.services.plan.held_windows import free_expired
from fleet.services.plan.offers import CannotOffer, Offer, find_offers
from fleet.services.plan.told_windows import CannotTell
from fleet.services.visits.needs_by_hand import BadNeed, NeedInput, add_need
from fleet.views.asked import asked_number, asking_user

# The same days are simulated for every reader, so that the same hours are offered.
SEED: Final = 1
KINDS: Final = [choice for choice in VisitKind.choices if choice[0] != VisitKind.LOG_MISSING]


@require_http_methods(["GET", "HEAD", "POST"])
def appointment(request: HttpRequest) -> HttpResponse:
    """Find hours: `?visit=` or `?need=` of somebody known, else a new need is entered by `?site=`."""
    now = timezone.now()
    today = company_day(now=now)
    if request.method == "POST":
        try:
            return redirect(_to(_entered(request)))
        except (BadNeed, CannotOffer) as error:
            messages.error(request, str(error))
    need_id = asked_number(request.GET.get("need"))
    if need_id:
        try:
            return redirect(_to(visit_for_need(need_id=need_id, day=today)))
        except CannotOffer as error:
            messages.error(request, str(error))
            return redirect("fleet:visits")
    visit_id = asked_number(request.GET.get("visit"))
    visit = phone_visit(visit_id=visit_id) if visit_id else None
    if visit_id and visit is None:
        raise Http404
    if request.method != "HEAD":
        free_expired(now=now)
    offers: tuple[Offer, ...] = ()
    why_none = ""
    held = live_holds(now=now, visit_id=visit_id) if visit_id else ()
    if visit is not None and not held:
        try:
            offers = find_offers(visit_id=visit_id, day=today, moment=company_moment(now=now), seed=SEED)
        except CannotOffer as error:
            why_none = str(error)
    company = the_company()
    return render(
        request,
        "fleet/week/appointment.html",
        {
            "visit": visit,
            "offers": offers,
            "why_none": why_none,
            "held": held[0] if held else None,
            "others": [hold for hold in live_holds(now=now) if hold.visit_id != visit_id],
            "kinds": KINDS,
            "typed": request.POST if request.method == "POST" else request.GET,
            "currency": company.currency if company else "",
        },
    )


@require_POST
def hold(request: HttpRequest) -> HttpResponse:
    """Hold an offered window for ten minutes."""
    now = timezone.now()
    visit_id = asked_number(request.POST.get("visit"))
    try:
        hold_window(
            visit_id=visit_id,
            key=request.POST.get("offer", "")[:80],
            day=company_day(now=now),
            moment=company_moment(now=now),
            seed=SEED,
            by=asking_user(request).get_username(),
            now=now,
        )
        messages.success(request, "The hours are held for ten minutes. Nobody else gets them until then.")
    except CannotOffer as error:
        messages.error(request, str(error))
    return redirect(_to(visit_id) if phone_visit(visit_id=visit_id) else "fleet:appointment")


@require_POST
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """The customer agreed to the held hours."""
    now = timezone.now()
    row = HeldWindow.objects.filter(pk=pk).first()
    try:
        done = confirm_hold(
            hold_id=pk,
            day=company_day(now=now),
            moment=company_moment(now=now),
            by=asking_user(request).get_username(),
            now=now,
        )
    except (CannotOffer, CannotTell) as error:
        messages.error(request, str(error))
        return redirect(_to(row.wanted_id) if row is not None else "fleet:appointment")
    messages.success(request, "The hours are told; every later plan keeps them. Undo takes that back.")
    day = row.day.isoformat() if row is not None else ""
    return redirect(f"{reverse('fleet:week')}?week={day}&day={day}" if done.visit_id else "fleet:week")


@require_POST
def release(request: HttpRequest, pk: int) -> HttpResponse:
    """Give held hours back."""
    now = timezone.now()
    try:
        done = release_hold(hold_id=pk, day=company_day(now=now), moment=company_moment(now=now), now=now)
    except CannotOffer as error:
        messages.error(request, str(error))
        return redirect("fleet:appointment")
    messages.info(request, "The hours are free again.")
    return redirect(_to(done.visit_id))


def _to(visit_id: int) -> str:
    """The page of a visit."""
    return f"{reverse('fleet:appointment')}?visit={visit_id}"


def _entered(request: HttpRequest) -> int:
    """The visit of a new need. Raises `BadNeed` and `CannotOffer`."""
    now, typed = timezone.now(), request.POST
    code = typed.get("site", "").strip()[:40]
    try:
        site = site_for(user=asking_user(request), code=code)
    except SiteNotOpen:
        raise BadNeed(f"garden: none has the code {code!r}; look it up with the search above") from None
    made = add_need(
        site_id=site.pk,
        need=NeedInput(
            kind=typed.get("kind", ""),
            reason=typed.get("reason", "").strip()[:400],
            service_min=float(minutes) if (minutes := asked_number(typed.get("service_min"))) else None,
            priority=3,
        ),
        by=asking_user(request).get_username(),
        now=now,
        day=company_day(now=now),
    )
    return visit_for_need(need_id=made.need_id, day=company_day(now=now))
