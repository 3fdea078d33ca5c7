"""Logs that stopped: the last day, and the likely reason."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date
from typing import Final

from django.db.models import OuterRef, Subquery

from sites.models import BypassLog, Controller

_FEWEST_TOGETHER: Final = 3
_BY_METHOD: Final = {
    "logger": "the logger or its connection has failed, or its battery is empty",
    "counter_read": "nobody has read the counter since",
    "customer_card": "the customer has not sent the card",
    "from_meter": "the daily meter reads have stopped",
}
NEVER: Final = "no way of logging has been agreed for it yet"


def likely_reasons(*, stopped: Sequence[tuple[Controller, date | None]]) -> dict[int, str]:
    """Why each log may have stopped, by controller: together with others, or by its own way of logging."""
    newest = BypassLog.objects.filter(controller=OuterRef("pk")).order_by("-end").values("method")[:1]
    methods: dict[int, str] = dict(
        Controller.objects.filter(pk__in=[controller.pk for controller, _ in stopped])
        .annotate(newest_method=Subquery(newest))
        .values_list("pk", "newest_method")
    )
    together = Counter((methods.get(controller.pk) or "", day) for controller, day in stopped)
    found = {}
    for controller, day in stopped:
        method = methods.get(controller.pk) or ""
        others = together[(method, day)] - 1
        if day is None:
            found[controller.pk] = NEVER
        elif others + 1 >= _FEWEST_TOGETHER and method in ("logger", "from_meter"):
            found[controller.pk] = (
                f"the logs of {others} others stopped on the same day, so the import or the service behind it"
            )
        else:
            found[controller.pk] = _BY_METHOD.get(method, "its way of logging is not known")
    return found
