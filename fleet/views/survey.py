"""The survey of a site on the phone: each answer goes into the book at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.quantities import entered
from fleet.selectors.company.company import company_day
from fleet.selectors.site.access import SiteNotOpen, may_read_gate_code, site_for
from sites.models.choices import FixtureKind, Head, Plant
from sites.selectors.survey import survey_of
from sites.services.survey import ANSWERABLE, BadThing, Place, SurveyAnswered, answer_survey

if TYPE_CHECKING:
    from fleet.models import User
    from sites.models import Site

# Columns that a reader answers in the own units.
QUANTITIES: Final[dict[str, str]] = {
    "area_m2": "area",
    "root_depth_mm": "depth_whole",
    "flow_limit_l_min": "flow",
    "depth_mm": "depth_whole",
}


@require_safe
def survey(request: HttpRequest, code: str) -> HttpResponse:
    """Show the steps with what is known, assumed and missing."""
    garden = _garden(request, code)
    may_read = may_read_gate_code(
        user=cast("User", request.user), site_id=garden.pk, today=company_day(now=timezone.now())
    )
    found = survey_of(site=garden, with_gate_code=may_read)
    return render(
        request,
        "fleet/survey.html",
        {
            "site": garden,
            "survey": found,
            "controllers": [thing.key for thing in found.steps[2].things],
            "plants": Plant.choices,
            "heads": Head.choices,
            "fixtures": FixtureKind.choices,
        },
    )


@require_POST
def survey_answer(request: HttpRequest, code: str) -> HttpResponse:
    """Take answers about one thing; as JSON where the page's script asks."""
    garden = _garden(request, code)
    is_us = cast("User", request.user).units == "us"
    kind = request.POST.get("kind", "")
    refused: dict[str, str] = {}
    now = timezone.now()
    try:
        answers = _answers(request, kind, refused, is_us=is_us)
        done = answer_survey(
            site=garden,
            kind=kind,
            key=tuple(part[:60] for part in request.POST.getlist("key") if part),
            answers=answers,
            place=_place(request),
            today=company_day(now=now),
            by=request.user.get_username(),
            at=now,
        )
    except BadThing as problem:
        return _told(request, code, SurveyAnswered((), refused), str(problem))
    return _told(request, code, SurveyAnswered(done.saved, refused | done.refused, done.is_new), "")


def _answers(request: HttpRequest, kind: str, refused: dict[str, str], *, is_us: bool) -> dict[str, str]:
    """Texts that differ from what the page had shown, in SI."""
    answers: dict[str, str] = {}
    for column in ANSWERABLE.get(kind, ()):
        if column not in request.POST:
            continue
        text = request.POST[column][:2_000].replace("\x00", "").strip()
        is_sure = request.POST.get("confirm") == column
        if not is_sure and text == request.POST.get(f"was-{column}", "\x00").strip():
            continue
        if column in QUANTITIES and text:
            try:
                value = entered(float(text.replace(",", ".")), QUANTITIES[column], is_us=is_us)
            except ValueError:
                refused[column] = "a number"
                continue
            text = f"{value:.3f}".rstrip("0").rstrip(".")
        answers[column] = text
    return answers


def _place(request: HttpRequest) -> Place | None:
    """Where the thing stands, None where nothing was said."""
    texts = [request.POST.get(name, "").strip().replace(",", ".") for name in ("longitude", "latitude")]
    if not any(texts):
        return None
    try:
        return float(texts[0]), float(texts[1])
    except ValueError:
        raise BadThing("the place: longitude and latitude in degrees") from None


def _told(request: HttpRequest, code: str, done: SurveyAnswered, problem: str) -> HttpResponse:
    """What became of the answers, for the script or as messages of the page."""
    if "application/json" in request.headers.get("Accept", ""):
        facts = {"saved": done.saved, "refused": done.refused, "problem": problem, "is_new": done.is_new}
        return JsonResponse(facts, status=400 if problem or done.refused else 200)
    if problem:
        messages.error(request, f"Nothing was saved: {problem}")
    for column, expected in done.refused.items():
        messages.error(request, f"{column.replace('_', ' ')} was not saved: expected {expected}")
    if done.saved or done.is_new:
        named = ", ".join(name.replace("_", " ") for name in done.saved)
        messages.success(request, f"Saved in the book{f': {named}' if named else ''}.")
    elif not problem and not done.refused:
        messages.info(request, "Nothing was changed.")
    anchor = request.POST.get("back", "")
    anchor = anchor if anchor.replace("-", "").isalnum() else ""
    return redirect(f"{reverse('fleet:survey', args=[code])}{f'#{anchor}' if anchor else ''}")


def _garden(request: HttpRequest, code: str) -> Site:
    """The site, or the page that says it is not there."""
    try:
        return site_for(user=cast("User", request.user), code=code, today=company_day(now=timezone.now()))
    except SiteNotOpen as problem:
        raise Http404 from problem
