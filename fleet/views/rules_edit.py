"""The editor of a rule set: a form of its stages, or its JSON; the same check for both."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from fleet.rule_form import MOST_STAGES, StageFields, fields_of, place_errors, read_form
from fleet.selectors.company.company import company_day
from fleet.views.rules import preview_facts, preview_of, programs_anew
from sites.calc.rules.file import parse_stage
from sites.calc.rules.stages import RuleError, Stage
from sites.importing.rules import parse_rule_set
from sites.selectors.rules import RuleSetContent, rule_set_content
from sites.services.edit_rules import RulesChangedMeanwhile, RuleSetInvalid, save_rule_set

LONGEST_JSON: Final = 200_000
EMPTY: Final = RuleSetContent("", "", ({},), "")


@require_http_methods(["GET", "POST"])
def edit(request: HttpRequest, code: str) -> HttpResponse:
    """Edit a rule set: GET shows the form or, with `?raw`, the JSON; POST checks, previews or saves."""
    stored = rule_set_content(code=code)
    if stored is None:
        raise Http404
    return _editor(request, stored)


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Write a new rule set."""
    return _editor(request, EMPTY)


def _editor(request: HttpRequest, stored: RuleSetContent) -> HttpResponse:
    """The page, after whatever was asked of it."""
    if request.method == "GET":
        return _page(request, stored, stored.plain, version=stored.version, raw="raw" in request.GET)
    raw = "raw" in request.POST
    version = request.POST.get("version", "")[:16]
    text = request.POST.get("text", "")
    content: object
    if raw:
        content, problem = (
            parse_rule_set(text) if len(text) <= LONGEST_JSON else (None, "the text is too long")
        )
        if problem:
            return _page(
                request, stored, {}, version=version, raw=True, text=text, errors=[f"JSON: {problem}"]
            )
    else:
        content = read_form(request.POST, stored.specs if version == stored.version else ())
    do = request.POST.get("do", "save")
    if do != "save":
        return _page(request, stored, content, version=version, raw=raw, text=text, do=do)
    try:
        saved = save_rule_set(
            content=content if not stored.code else _named(content, stored.code),
            version=version,
            by=request.user.get_username(),
            at=timezone.now(),
            reason=request.POST.get("reason", "")[:300],
        )
    except RuleSetInvalid as error:
        return _page(request, stored, content, version=version, raw=raw, text=text, invalid=error)
    except RulesChangedMeanwhile as error:
        sentence = f"{error} Nothing was saved; what you wrote is still below. Open the rules anew beside it."
        return _page(request, stored, content, version=version, raw=raw, text=text, errors=[sentence])
    programs_anew(request, saved)
    return redirect("fleet:rule-set", saved.code)


def _named(content: object, code: str) -> object:
    """The content under the code that is being edited: a code cannot change."""
    return {**content, "rule_set": code} if isinstance(content, Mapping) else content


def _page(
    request: HttpRequest,
    stored: RuleSetContent,
    content: object,
    *,
    version: str,
    raw: bool,
    text: str = "",
    do: str = "",
    errors: Sequence[str] = (),
    invalid: RuleSetInvalid | None = None,
) -> HttpResponse:
    """The editor with what is in it."""
    given = content if isinstance(content, Mapping) else {}
    specs = given.get("stages")
    specs = [spec for spec in specs if isinstance(spec, Mapping)] if isinstance(specs, list) else []
    stages = fields_of(specs)
    if do == "add" and len(stages) < MOST_STAGES:
        stages.append(StageFields(at=len(stages)))
    sentences = [*errors, *(place_errors(stages, invalid.problems) if invalid else [])]
    facts: dict[str, object] = {}
    if do == "preview":
        parsed, complaints = _parsed(specs)
        sentences += complaints
        if not complaints:
            today = company_day(now=timezone.now())
            preview = preview_of(request, code=stored.code, stages=parsed, today=today)
            facts = preview_facts(request, preview)
    return render(
        request,
        "fleet/rule_edit.html",
        {
            "stored": stored,
            "code": given.get("rule_set", ""),
            "supplier": given.get("supplier", ""),
            "stages": stages,
            "version": version,
            "raw": raw,
            "text": text or json.dumps(given, indent=2, ensure_ascii=False),
            "errors": sentences,
            **facts,
        },
        status=422 if sentences else 200,
    )


def _parsed(specs: Sequence[Mapping[str, object]]) -> tuple[list[Stage], list[str]]:
    """Stages of the content, and what is wrong with them."""
    stages, complaints = [], []
    for number, spec in enumerate(specs, start=1):
        try:
            stages.append(parse_stage(spec))
        except RuleError as error:
            complaints.append(f"“{spec.get('name') or f'stage {number}'}”, {error}.")
    return stages, complaints
