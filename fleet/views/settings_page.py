"""Prices and times: every number behind the value of a visit, with a preview before it is kept."""

from __future__ import annotations

import math
from collections.abc import Mapping

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.access import may_see
from fleet.calc.visits.setting_facts import FACT_OF
from fleet.calc.visits.settings import RUSH_HOURS, visit_settings
from fleet.selectors.company.company import company_day, the_company
from fleet.selectors.visits.settings_page import (
    plain,
    rush_hours,
    setting_groups,
    setting_history,
    settings_in_force,
)
from fleet.services.visits.settings import (
    BadSetting,
    CannotPutBack,
    check_settings,
    put_back_settings,
    save_rush_hours,
    save_settings,
)
from fleet.services.visits.settings_preview import Preview, preview_settings
from fleet.tasks import queue_stage
from fleet.views.asked import asking_user

# Longer texts are cut [letters].
MOST_TEXT = 600


@require_safe
def settings(request: HttpRequest) -> HttpResponse:
    """Show the settings."""
    return _page(request)


@require_POST
def settings_save(request: HttpRequest) -> HttpResponse:
    """Try the typed settings, or keep them."""
    changes, errors = _typed(request.POST)
    company = the_company()
    stored = dict(company.settings) if company else {}
    if not errors:
        try:
            tried = check_settings(changes=changes, stored=stored)
        except BadSetting as error:
            errors = {error.name: str(error)}
    if errors:
        return _page(request, typed=request.POST, errors=errors)
    if request.POST.get("do") != "save":
        preview = preview_settings(
            now_used=settings_in_force(),
            tried=visit_settings(tried),
            day=company_day(now=timezone.now()),
        )
        return _page(request, typed=request.POST, preview=preview, changed=_words(changes))
    try:
        saved = save_settings(changes=changes, by=request.user.get_username(), now=timezone.now())
    except BadSetting as error:
        return _page(request, typed=request.POST, errors={error.name: str(error)})
    if saved.changed:
        _value_anew()
        messages.success(request, "Kept. Needs are valued anew now; plan the week to use it for routes.")
    else:
        messages.info(request, "Nothing was changed.")
    return redirect("fleet:settings")


@require_POST
def settings_hours(request: HttpRequest) -> HttpResponse:
    """Keep the hours at which driving takes longer."""
    text = request.POST.get("rush_hours", "")[:MOST_TEXT]
    try:
        saved = save_rush_hours(text=text, by=request.user.get_username(), now=timezone.now())
    except BadSetting as error:
        return _page(request, errors={error.name: str(error)}, rush_typed=text)
    if saved.changed:
        messages.success(
            request, "Kept. The next planning, and every change of the plan, times drives by it."
        )
    else:
        messages.info(request, "Nothing was changed.")
    return redirect("fleet:settings")


@require_POST
def settings_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Put settings back as they were before a change."""
    try:
        put_back_settings(change_id=pk, by=request.user.get_username(), now=timezone.now())
    except (CannotPutBack, BadSetting) as error:
        messages.error(request, str(error))
    else:
        _value_anew()
        messages.success(request, "Put back. Needs are valued anew now.")
    return redirect("fleet:settings")


def _value_anew() -> None:
    """Let the worker bring the open needs in line."""
    day = company_day(now=timezone.now())
    queue_stage(stage="raise_needs", scope="all", day=day)


def _typed(form: Mapping[str, str]) -> tuple[dict[str, float | None], dict[str, str]]:
    """Numbers that differ from those in force, None: the default again; and what is no number."""
    used = settings_in_force()
    changes: dict[str, float | None] = {}
    errors: dict[str, str] = {}
    for name, fact in FACT_OF.items():
        text = form.get(name, "").strip().replace(",", ".")
        if name not in form or text == plain(getattr(used, name)):
            continue
        if not text:
            changes[name] = None
            continue
        try:
            changes[name] = float(text)
        except ValueError:
            changes[name] = math.nan
        if not math.isfinite(changes[name] or 0.0):
            errors[name] = f"{fact.words}: {text[:20]!r}, expected a number"
    return changes, errors


def _words(changes: Mapping[str, float | None]) -> tuple[tuple[str, float, float | None], ...]:
    """What is tried: words, number in force, number tried."""
    used = settings_in_force()
    return tuple((FACT_OF[name].words, getattr(used, name), value) for name, value in changes.items())


def _page(
    request: HttpRequest,
    *,
    typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    preview: Preview | None = None,
    changed: tuple[tuple[str, float, float | None], ...] = (),
    rush_typed: str | None = None,
) -> HttpResponse:
    """The page, with what was typed."""
    company = the_company()
    facts = {
        "groups": setting_groups(day=company_day(now=timezone.now()), typed=typed, errors=errors),
        "errors": list((errors or {}).values()),
        "preview": preview,
        "changed": changed,
        "history": setting_history(),
        "rush": rush_hours(typed=rush_typed),
        "rush_error": (errors or {}).get(RUSH_HOURS, ""),
        "currency": company.currency if company else "",
        "may_write": may_see(asking_user(request).role, "fleet:settings-save"),
    }
    return render(request, "fleet/settings/settings.html", facts, status=422 if errors else 200)
