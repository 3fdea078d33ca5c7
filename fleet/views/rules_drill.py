"""The watering-ban drill: choose a supplier, a stage and a date, and see what breaks and what replaces it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.selectors.company.company import company_day
from fleet.selectors.ledger.prices import water_price_per_m3
from fleet.selectors.programs.rules_page import stage_line
from fleet.views.rules import clock_of, day_of, may_edit, next_monday, programs_anew
from sites.calc.rules.file import stage_problems
from sites.calc.rules.switch import COMMON_STAGES
from sites.importing.rules import parse_rule_set
from sites.models import RuleSet
from sites.selectors.rules import RuleSetContent, rule_set_content
from sites.services.edit_rules import RulesChangedMeanwhile, RuleSetInvalid, switch_stage
from sites.services.rule_drill import run_drill

LONGEST_JSON: Final = 10_000


@dataclass(frozen=True, slots=True)
class Asked:
    """What the drill's form asks for; `problem` says what cannot be used."""

    content: RuleSetContent | None
    stage: dict[str, object] | None
    choice: str
    text: str
    on: date
    until: date | None
    on_top: bool
    problem: str = ""

    @property
    def query(self) -> str:
        """The address of what is asked, without the page."""
        parts = {
            "set": self.content.code if self.content else "",
            "stage": self.choice,
            "json": self.text,
            "on": self.on.isoformat(),
            "until": self.until.isoformat() if self.until else "",
            "how": "top" if self.on_top else "instead",
        }
        return urlencode({name: value for name, value in parts.items() if value})


@require_safe
def drill(request: HttpRequest) -> HttpResponse:
    """Show the form, and where it asks for a stage what would break; nothing is written."""
    today = company_day(now=timezone.now())
    asked = _asked(request.GET, today)
    page = request.GET.get("page", "1")
    found = None
    if asked.content is not None and asked.stage is not None and not asked.problem:
        found = run_drill(
            content=asked.content,
            stage=asked.stage,
            on=asked.on,
            until=asked.until,
            on_top=asked.on_top,
            today=today,
            price_per_m3=water_price_per_m3(day=today),
            page=int(page) if page.isascii() and page.isdigit() and len(page) < 6 else 1,
        )
    return render(
        request,
        "fleet/rules_drill.html",
        {
            "asked": asked,
            "found": found,
            "line": stage_line(asked.stage or {}, day=today, clock=clock_of(request)) if found else None,
            "sets": RuleSet.objects.order_by("supplier", "code"),
            "common": [(f"common-{at}", spec["name"]) for at, spec in enumerate(COMMON_STAGES)],
            "own": _own(asked.content),
            "may_edit": may_edit(request),
        },
    )


@require_POST
def make_it_so(request: HttpRequest) -> HttpResponse:
    """Add the stage that was looked at, with its date."""
    asked = _asked(request.POST, company_day(now=timezone.now()))
    if asked.content is None or asked.stage is None or asked.problem:
        messages.error(request, asked.problem or "Choose a rule set and a stage first.")
        return redirect("fleet:rules-drill")
    try:
        saved = switch_stage(
            code=asked.content.code,
            stage=asked.stage,
            on=asked.on,
            until=asked.until,
            on_top=asked.on_top,
            version=request.POST.get("version", ""),
            by=request.user.get_username(),
            at=timezone.now(),
        )
    except (RulesChangedMeanwhile, RuleSetInvalid) as error:
        messages.error(request, f"Nothing was switched. {error}")
        return redirect("fleet:rules-drill")
    programs_anew(request, saved)
    return redirect("fleet:rule-set", saved.code)


def _asked(given: QueryDict, today: date) -> Asked:
    """What a form or an address asks for."""
    content = rule_set_content(code=given.get("set", "")[:60].replace("\x00", ""))
    on = day_of(given.get("on", "")) or next_monday(today)
    until = day_of(given.get("until", ""))
    choice, text = given.get("stage", ""), given.get("json", "").strip()[:LONGEST_JSON]
    stage, problem = _stage(content, choice, text)
    if until is not None and until <= on:
        problem = "Until: expected a day after the first one."
    return Asked(content, stage, choice, text, on, until, given.get("how") == "top", problem)


def _stage(content: RuleSetContent | None, choice: str, text: str) -> tuple[dict[str, object] | None, str]:
    """The stage that is chosen or written, and what is wrong with it."""
    if text:
        found, problem = parse_rule_set(text)
        if problem or not isinstance(found, dict):
            return None, f"JSON: {problem or 'expected an object'}."
        problems = stage_problems(found)
        return found, " ".join(f"{where}: expected {expected}." for where, expected in problems)
    return next((dict(spec) for key, spec in _choices(content) if key == choice), None), ""


def _choices(content: RuleSetContent | None) -> list[tuple[str, dict[str, object]]]:
    """Stages to choose from: common ones, and those of the rule set."""
    common = [(f"common-{at}", spec) for at, spec in enumerate(COMMON_STAGES)]
    own = enumerate(content.specs) if content else ()
    return [*common, *((f"own-{at}", spec) for at, spec in own)]


def _own(content: RuleSetContent | None) -> list[tuple[str, object]]:
    """The rule set's own stages to choose from."""
    return [(key, spec["name"]) for key, spec in _choices(content) if key.startswith("own-")]
