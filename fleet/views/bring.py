"""Bring your sites: a file comes in, is laid out, looked at with its repairs, then saved or thrown away."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from fleet.services.bring.ask import ask_look, bring_state, stop_bring
from fleet.services.bring.kinds import KINDS, kind_of_file
from fleet.services.bring.upload_checks import LIMIT_BYTES
from fleet.services.bring.uploads import (
    KEPT_FOR,
    UploadNotTaken,
    data_path,
    keep_upload,
    take_upload,
    throw_old_uploads,
    throw_upload,
    upload_folder,
    uploads_of,
)
from fleet.tasks import start_run
from fleet.views.asked import asking_user
from fleet.views.bring_parts import asked_moment, asked_upload, is_small, sees_all

SNIFFED: Final = 65_536


@require_http_methods(["GET", "HEAD", "POST"])
def bring(request: HttpRequest) -> HttpResponse:
    """Show what may be brought and what waits; take a file."""
    user, now, folder = asking_user(request), timezone.now(), upload_folder()
    throw_old_uploads(folder=folder, now=now)
    if request.method == "POST":
        return _take(request)
    mine = uploads_of(folder=folder, user=user.username, sees_all=sees_all(user))
    waiting = [one for one in mine if data_path(folder, one).is_file()]
    context = {
        "waiting": [(one, bring_state(folder=folder, upload=one, now=now)) for one in waiting],
        "saved": [one for one in mine if one not in waiting],
        "kinds": [one.word for one in KINDS.values()],
        "days": KEPT_FOR.days,
        "most": LIMIT_BYTES,
        "most_mb": LIMIT_BYTES // 1_000_000,
    }
    return render(request, "fleet/bring.html", context)


@require_POST
def bring_throw(request: HttpRequest, key: str) -> HttpResponse:
    """Forget a file; nothing of it was written. One that is being saved is stopped first."""
    upload, folder, now = asked_upload(request, key), upload_folder(), timezone.now()
    state = bring_state(folder=folder, upload=upload, now=now)
    if state.is_open and not stop_bring(folder=folder, upload=upload, now=now) and state.is_save:
        messages.error(request, f"{upload.name} is being saved. It stops now; throw it away once it has.")
        return redirect("fleet:bring-file", key=key)
    was_saved = not data_path(folder, upload).is_file()
    throw_upload(folder=folder, upload=upload)
    gone = "is thrown away. Nothing of it was written."
    kept = "is taken off the list. The book keeps what it brought."
    messages.info(request, f"{upload.name} {kept if was_saved else gone}")
    return redirect("fleet:bring")


def _take(request: HttpRequest) -> HttpResponse:
    """Take the file of the request and have it looked at."""
    moment, folder = asked_moment(request), upload_folder()
    file = request.FILES.get("file")
    if file is None:
        messages.error(request, "No file was chosen. Choose one, then bring it.")
        return redirect("fleet:bring")
    try:
        upload = take_upload(
            folder=folder, name=file.name or "", chunks=file.chunks(), owner=moment.by, now=moment.now
        )
    except UploadNotTaken as error:
        messages.error(request, str(error))
        return redirect("fleet:bring")
    with data_path(folder, upload).open("rb") as stream:
        upload = replace(upload, kind=kind_of_file(stream.read(SNIFFED)))
    keep_upload(folder=folder, upload=upload)
    run_id = ask_look(folder=folder, upload=upload, day=moment.today, now=moment.now)
    start_run(run_id=run_id, at_once=is_small(upload))
    return redirect("fleet:bring-file", key=upload.key)
