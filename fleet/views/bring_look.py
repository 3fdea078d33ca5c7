"""A file on its way: how far it is, what it would do, its repairs, saving it, and what came of that."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Final

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fleet.charts.bring_map import bring_map_svg, marks_of
from fleet.selectors.company.operations import workers_alive
from fleet.services.bring.ask import BringState, ask_look, ask_save, bring_state, stop_bring
from fleet.services.bring.file import accepted_of
from fleet.services.bring.file_seen import kept_seen
from fleet.services.bring.kept_looks import KeptLook, kept_look
from fleet.services.bring.kinds import BOOK, KINDS
from fleet.services.bring.runs import Outcome, kept_outcome
from fleet.services.bring.uploads import Upload, forget_outcome, keep_upload, upload_folder
from fleet.tasks import start_run
from fleet.views.bring_columns import columns_page
from fleet.views.bring_parts import asked_moment, asked_upload, is_small
from fleet.views.bring_words import words_page
from sites.importing.book.offers import WORDS, told

ROWS_A_PAGE: Final = 50


@require_safe
def bring_file(request: HttpRequest, key: str) -> HttpResponse:
    """Show a file where it stands: being worked on, its columns, what it would do, or what it did."""
    upload, folder, moment = asked_upload(request, key), upload_folder(), asked_moment(request)
    state = bring_state(folder=folder, upload=upload, now=moment.now)
    if state.is_open:
        return _work_page(request, upload, state)
    outcome = kept_outcome(folder=folder, upload=upload)
    if outcome is not None and outcome.what == "done":
        return render(request, "fleet/bring_done.html", {"upload": upload, "done": outcome})
    seen = kept_seen(folder=folder, upload=upload)
    is_settled = upload.layout is not None or upload.is_plain
    if seen is not None and seen.layers and ("columns" in request.GET or not is_settled):
        return columns_page(request, upload, seen)
    if seen is not None and upload.layout is not None and ("words" in request.GET or upload.asks_words):
        return words_page(request, upload, upload.layout, seen)
    kept = kept_look(folder=folder, upload=upload, moment=moment)
    if kept is None or (not kept.is_fresh and is_small(upload)):
        if kept is None and state.state:  # it was asked for, and stopped
            return _work_page(request, upload, state)
        run_id = ask_look(folder=folder, upload=upload, day=moment.today, now=moment.now)
        start_run(run_id=run_id, at_once=is_small(upload))
        kept = kept_look(folder=folder, upload=upload, moment=moment)
        if kept is None:
            return _work_page(request, upload, bring_state(folder=folder, upload=upload, now=moment.now))
    return _look_page(request, upload, kept, outcome)


@require_safe
def bring_progress(request: HttpRequest, key: str) -> JsonResponse:
    """Tell how far the work on a file is."""
    upload = asked_upload(request, key)
    state = bring_state(folder=upload_folder(), upload=upload, now=timezone.now())
    return JsonResponse(
        {"state": state.state, "words": _words(state), "share": round(state.share, 3), "open": state.is_open}
    )


@require_POST
def bring_again(request: HttpRequest, key: str) -> HttpResponse:
    """Look at a file anew, or try again to save it where that broke."""
    upload, folder, moment = asked_upload(request, key), upload_folder(), asked_moment(request)
    state = bring_state(folder=folder, upload=upload, now=moment.now)
    if state.is_save and state.state == "failed":
        run_id = ask_save(
            folder=folder, upload=upload, keep_good=upload.asked_good, by=upload.asked_by,
            day=moment.today, now=moment.now,
        )  # fmt: skip
    elif state.state in ("waiting", "running"):
        run_id = None
    else:
        forget_outcome(folder=folder, upload=upload)
        run_id = ask_look(folder=folder, upload=upload, day=moment.today, now=moment.now)
    if run_id is not None:
        start_run(run_id=run_id, at_once=is_small(upload))
    return redirect("fleet:bring-file", key=key)


@require_POST
def bring_stop(request: HttpRequest, key: str) -> HttpResponse:
    """Stop the work on a file; nothing of it is written."""
    upload = asked_upload(request, key)
    if stop_bring(folder=upload_folder(), upload=upload, now=timezone.now()):
        messages.info(request, "It is stopped. Nothing was written.")
    else:
        messages.info(request, "It stops before its next step, unless its last one is done by then.")
    return redirect("fleet:bring-file", key=key)


@require_POST
def bring_repairs(request: HttpRequest, key: str) -> HttpResponse:
    """Accept repairs: all, those of one fault, or one; or take the word back."""
    upload, folder = asked_upload(request, key), upload_folder()
    kept = kept_look(folder=folder, upload=upload, moment=asked_moment(request))
    if kept is None:
        return redirect("fleet:bring-file", key=key)
    repairs = kept.look.repairs
    which, back = request.POST.get("which", ""), request.POST.get("do") == "back"
    meant = {one.key for one in repairs if which in ("all", f"fault:{one.fault}", one.key)}
    accepted = set(upload.accepted) - meant if back else set(upload.accepted) | meant
    keep_upload(folder=folder, upload=replace(upload, accepted=accepted_of(repairs, accepted)))
    forget_outcome(folder=folder, upload=upload)
    return redirect("fleet:bring-file", key=key)


@require_POST
def bring_save(request: HttpRequest, key: str) -> HttpResponse:
    """Have the file written into the book; pressed twice, it is done once."""
    upload, moment = asked_upload(request, key), asked_moment(request)
    run_id = ask_save(
        folder=upload_folder(), upload=upload, keep_good=request.POST.get("good") == "yes", by=moment.by,
        day=moment.today, now=moment.now,
    )  # fmt: skip
    if run_id is not None:
        start_run(run_id=run_id, at_once=is_small(upload))
    return redirect("fleet:bring-file", key=key)


def _words(state: BringState) -> str:
    """Where the work stands, in a sentence."""
    if state.is_silent:
        return "Nothing was heard of it for two minutes. Its worker seems gone; it is begun anew by itself."
    if state.is_stopping:
        return "Stopping; nothing is written."
    if state.state == "waiting":
        return "Waits for the worker."
    return (state.step or "at work").capitalize()


def _work_page(request: HttpRequest, upload: Upload, state: BringState) -> HttpResponse:
    """How far the work on a file is, that it was stopped, or why it broke."""
    has_worker = state.state != "waiting" or workers_alive(now=timezone.now()) > 0
    context = {"upload": upload, "state": state, "words": _words(state), "has_worker": has_worker}
    return render(request, "fleet/bring_work.html", context)


def _look_page(request: HttpRequest, upload: Upload, kept: KeptLook, outcome: Outcome | None) -> HttpResponse:
    """The preview."""
    look = kept.look
    mended, missed = marks_of(look.repairs, look.report.problems, look.places)
    numbered = [(one, missed.get((one.file, one.row))) for one in look.report.problems]
    problems = Paginator(numbered, ROWS_A_PAGE).get_page(request.GET.get("page"))
    repairs = Paginator(look.repairs, ROWS_A_PAGE).get_page(request.GET.get("rpage"))
    groups = Counter(one.fault for one in look.repairs)
    yes = Counter(one.fault for one in look.repairs if one.key in upload.accepted)
    needed = sum(one.is_needed and one.key not in upload.accepted for one in look.repairs)
    repaired = set(told(list(look.repairs)))  # the table of repairs says it better
    marks = [mended.get(one.key) for one in repairs] + [mark for _, mark in problems]
    shown = {mark.number for mark in marks if mark is not None}
    context = {
        "upload": upload,
        "kept": kept,
        "report": look.report,
        "lines": [line for line in look.report.warnings if line not in repaired],
        "refused": len({(one.file, one.row) for one in look.report.problems}),
        "problems": problems,
        "repairs": [(one, one.key in upload.accepted, mended.get(one.key)) for one in repairs],
        "repairs_page": repairs,
        "groups": [(f, WORDS[f], n, yes[f]) for f, n in sorted(groups.items())],
        "open_needed": needed,
        "is_refused": outcome is not None and outcome.what == "refused",
        "is_stopped": outcome is not None and outcome.what == "stopped",
        "has_columns": kept_seen(folder=upload_folder(), upload=upload) is not None,
        "has_words": upload.layout is not None,
        "word": KINDS[upload.kind].word if upload.kind in KINDS else "site book",
        "is_book": upload.kind == BOOK,
        "paper_map": bring_map_svg(look.drawn, [*mended.values(), *missed.values()], shown),
    }
    return render(request, "fleet/bring_look.html", context)
