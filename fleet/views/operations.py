"""How the installation is doing: the administrator's page, and what machines ask: alive, ready, metrics."""

from __future__ import annotations

import os
from typing import Final

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from fleet.models import StageRun
from fleet.openmetrics import CONTENT_TYPE, as_openmetrics
from fleet.selectors.company.company import company_day
from fleet.selectors.company.operations import operations
from fleet.services.stage_runs import WORKER
from fleet.tasks import queue_stage

THIS_MACHINE: Final = frozenset({"127.0.0.1", "::1"})


@never_cache
@require_safe
def operations_page(request: HttpRequest) -> HttpResponse:
    """Show runs, workers and how old each input is."""
    now = timezone.now()
    found = operations(now=now, today=company_day(now=now))
    return render(request, "fleet/operations.html", {"found": found, "now": now})


@require_POST
def retry(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for a run anew."""
    run = StageRun.objects.filter(pk=pk).exclude(stage=WORKER).first()
    if run is None:
        raise Http404
    if run.state != StageRun.State.FAILED:
        messages.error(request, "Only a run that broke is asked for anew; the others end by themselves.")
    else:
        queue_stage(stage=run.stage, scope=run.scope, day=run.day)
        messages.success(request, f"{run.stage} is asked for anew; it starts as soon as a worker is free.")
    return redirect("fleet:operations")


@login_not_required
@never_cache
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """Say that this process answers; nothing else is asked."""
    del request
    return JsonResponse({"status": "ok"})


@login_not_required
@never_cache
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """Say whether pages can be served: database, its tables, the data folder."""
    del request
    checks = {"database": _database_answers(), "data folder": os.access(settings.DATA_DIR, os.W_OK)}
    checks["tables"] = checks["database"] and _tables_are_there()
    is_ready = all(checks.values())
    words = {name: "ok" if fine else "failed" for name, fine in checks.items()}
    return JsonResponse({"status": "ok" if is_ready else "failed", **words}, status=200 if is_ready else 503)


@login_not_required
@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Return gauges as OpenMetrics text, to this machine or to whoever has the token."""
    if not _may_measure(request):
        raise PermissionDenied("Metrics are given to this machine, or by the token.")
    now = timezone.now()
    text = as_openmetrics(operations(now=now, today=company_day(now=now)))
    return HttpResponse(text, content_type=CONTENT_TYPE)


def _may_measure(request: HttpRequest) -> bool:
    """By the token where there is one; else from this machine, with no proxy between."""
    if settings.METRICS_TOKEN:
        given = request.headers.get("Authorization", "").removeprefix("Bearer ")
        return constant_time_compare(given, settings.METRICS_TOKEN)
    is_passed_on = any(
        name in request.headers for name in ("X-Forwarded-For", "X-Forwarded-Proto", "Forwarded")
    )
    return request.META.get("REMOTE_ADDR") in THIS_MACHINE and not is_passed_on


def _database_answers() -> bool:
    """Whether the database answers."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return False
    return True


def _tables_are_there() -> bool:
    """Whether every migration has run."""
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())
