"""Who may open what: one table for every page, and the guard that reads it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from fleet.access_company import COMPANY_ROLES, COMPANY_THINGS
from fleet.models import (
    CustomerCall,
    DayBreak,
    DeviceToken,
    Finding,
    Flag,
    HeldWindow,
    Photo,
    Rebate,
    ReportLink,
    StageRun,
    Stop,
    Submission,
    User,
    Visit,
    VisitNeed,
)
from fleet.selectors.company.company import company_day
from fleet.selectors.site.thing_access import may_open_thing
from fleet.services.company.second_factor import has_second_factor
from sites.models import Change, Recommendation, Site, ZoneAudit
from weather.models import Location

D, T, M, A = (role.value for role in User.Role)
EVERYONE: Final = frozenset({D, T, M, A})
OFFICE: Final = frozenset({D, M, A})

# What is done on the dispatcher's board and with visits.
BOARD: Final = (
    "fleet:week-live", "fleet:week-publish", "fleet:week-undo", "fleet:stop-move", "fleet:stop-drop",
    "fleet:stop-lock", "fleet:break-new", "fleet:break", "fleet:break-accept", "fleet:break-discard",
    "fleet:calls", "fleet:call-note", "fleet:appointment", "fleet:hold", "fleet:hold-confirm",
    "fleet:hold-release", "fleet:week-plan", "fleet:week-stop", "fleet:week-progress", "fleet:need-new",
    "fleet:need-change", "fleet:need-ticket", "fleet:need-withdraw", "fleet:need-reopen", "fleet:need-tell",
)  # fmt: skip

# view name -> roles. A view that is not named here opens for nobody.
BRING_DEEDS: Final = ("file", "columns", "repairs", "save", "again", "words", "stop", "progress", "throw")
WATER: Final = ("", "-site", "-csv", "-gpkg", "-parts", "-report", "-renewals", "-customer", "-unjudged")
ROLES: Final[dict[str, frozenset[str]]] = {
    "fleet:home": EVERYONE,
    "fleet:words": EVERYONE,
    **dict.fromkeys(("fleet:search", "fleet:search-suggest"), EVERYONE),
    "fleet:keys": EVERYONE,
    "fleet:first-steps": OFFICE,
    "fleet:week": frozenset({D, A}),
    "fleet:visits": OFFICE,
    "fleet:need": OFFICE,
    **COMPANY_ROLES,
    "fleet:site-list": OFFICE,
    "fleet:site": EVERYONE,
    "fleet:sheet": EVERYONE,
    "fleet:sheets": EVERYONE,
    "fleet:round": OFFICE,
    "fleet:what-if": OFFICE,
    "fleet:program-year": OFFICE,
    **dict.fromkeys(
        ("fleet:watch-list", "fleet:watch", "fleet:watch-days-csv", "fleet:watch-record"), OFFICE
    ),
    "fleet:watch-setting": frozenset({M, A}),
    "fleet:watch-flag": frozenset({D, A}),
    "fleet:day": frozenset({T, D, A}),
    "fleet:route-sheet": frozenset({T, D, A}),
    "fleet:routes-csv": frozenset({T, D, A}),
    "fleet:routes-geojson": frozenset({T, D, A}),
    "fleet:routes-ics": frozenset({T, D, A}),
    **dict.fromkeys(("fleet:stop", "fleet:stop-map"), frozenset({T, D, A})),
    "fleet:phone-worker": EVERYONE,
    "fleet:phone-manifest": EVERYONE,
    "fleet:phone-offline": EVERYONE,
    "fleet:phone-me": EVERYONE,
    "fleet:phone-pack": EVERYONE,
    "fleet:waiting": EVERYONE,
    "fleet:phone-send": frozenset({T, D, A}),
    "fleet:phone-photo": frozenset({T, D, A}),
    "fleet:photo": EVERYONE,
    "fleet:findings": OFFICE,
    "fleet:finding-decide": frozenset({D, A}),
    "fleet:finding-decide-many": frozenset({D, A}),
    "fleet:finding-correct": frozenset({D, A}),
    "fleet:finding-state": frozenset({D, A}),
    "fleet:visit-report": OFFICE,
    "fleet:report-link": frozenset({D, A}),
    "fleet:report-link-revoke": frozenset({D, A}),
    "fleet:customer-report": EVERYONE,
    "fleet:customer-photo": EVERYONE,
    **dict.fromkeys((f"fleet:water{name}" for name in WATER), OFFICE),
    **dict.fromkeys(("fleet:rebates", "fleet:rebate", "fleet:rebate-csv", "fleet:rebate-dossier"), OFFICE),
    **dict.fromkeys(("fleet:rebate-new", "fleet:rebate-edit"), frozenset({M, A})),
    "fleet:map-ground": EVERYONE,
    "fleet:map-sites": OFFICE,
    "fleet:map-zones": OFFICE,
    **dict.fromkeys(BOARD, frozenset({D, A})),
    "fleet:stop-state": frozenset({T, D, A}),
    "fleet:stop-finding": frozenset({T, D, A}),
    "fleet:site-shapes": EVERYONE,
    "fleet:site-zones-csv": EVERYONE,
    "fleet:site-water-csv": EVERYONE,
    "fleet:round-decide": frozenset({D, A}),
    "fleet:survey": EVERYONE,
    "fleet:survey-answer": EVERYONE,
    "fleet:round-decide-many": frozenset({D, A}),
    "fleet:round-edit": frozenset({D, A}),
    "fleet:round-freeze": frozenset({D, A}),
    "fleet:season": OFFICE,
    "fleet:season-rule": OFFICE,
    "fleet:sensor-places": OFFICE,
    "fleet:siting": EVERYONE,
    "fleet:siting-shapes": EVERYONE,
    "fleet:installation-sheet": EVERYONE,
    "fleet:site-audits": EVERYONE,
    "fleet:zone-audit": EVERYONE,
    "fleet:zone-audit-withdraw": EVERYONE,
    "fleet:rules": OFFICE,
    "fleet:rule-set": OFFICE,
    "fleet:rules-drill": OFFICE,
    "fleet:rules-switch": frozenset({D, A}),
    "fleet:rule-new": frozenset({D, A}),
    "fleet:rule-edit": frozenset({D, A}),
    "fleet:rule-remove": frozenset({D, A}),
    "fleet:rule-restore": frozenset({D, A}),
    "fleet:account": EVERYONE,
    "fleet:account-password": EVERYONE,
    "fleet:account-sessions": EVERYONE,
    "fleet:account-factor": EVERYONE,
    "fleet:people": frozenset({A}),
    "fleet:person": frozenset({A}),
    "fleet:audit-log": frozenset({A}),
    "fleet:customer": frozenset({A}),
    "fleet:customer-data": frozenset({A}),
    "fleet:operations": frozenset({A}),
    "fleet:run-retry": frozenset({A}),
    "fleet:devices": frozenset({A}),
    "fleet:device-revoke": frozenset({A}),
    "api:openapi": OFFICE,
    "fleet:weather-day": OFFICE,
    "fleet:weather-marks": OFFICE,
    "fleet:weather-order": frozenset({D, A}),
    "fleet:weather-pull": frozenset({D, A}),
    "fleet:weather-reference": frozenset({D, A}),
    "fleet:site-draw": frozenset({D, A}),
    "fleet:site-rain": frozenset({D, A}),
    "fleet:site-draw-save": frozenset({D, A}),
    "fleet:site-restore": frozenset({D, A}),
    "fleet:station-exchange": frozenset({D, A}),
    "fleet:station-label": EVERYONE,
    "fleet:bring": frozenset({D, A}),
    **{f"fleet:bring-{deed}": frozenset({D, A}) for deed in BRING_DEEDS},
    "weather:page": OFFICE,
    "weather:location-csv": OFFICE,
}
# Views that ask for a device's token instead of a person's session; whoever is signed in gains nothing there.
DEVICES: Final = frozenset({"api:bypass-logs", "api:meter-readings", "api:meter-volumes", "api:nothing"})
# Pages without a session: the phone's own, which hold nothing of the company, and the report of one visit by
# its signed link.
VISITORS: Final = frozenset({
    "fleet:phone-worker", "fleet:phone-manifest", "fleet:phone-offline", "fleet:customer-report",
    "fleet:customer-photo",
})  # fmt: skip
# Views of Django itself that guard themselves.
SELF_GUARDED: Final = frozenset({"login", "login-code", "logout", "invitation", "admin-login"}) | {
    "fleet:health",
    "fleet:ready",
    "fleet:metrics",
}
# What a person may open who must have a second factor and has none yet.
BEFORE_FACTOR: Final = frozenset({"fleet:account", "fleet:account-password", "fleet:account-factor"})

# view name -> kind of the thing whose number stands in its address. Every address with a number is here;
# `code` is a garden's, but in `RULE_CODES`.
THINGS: Final[dict[str, type[Model]]] = {
    **dict.fromkeys(
        ("fleet:need", "fleet:need-change", "fleet:need-ticket", "fleet:need-withdraw", "fleet:need-reopen"),
        VisitNeed,
    ),
    "fleet:need-tell": VisitNeed,
    "fleet:finding-decide": Finding,
    "fleet:finding-correct": Finding,
    "fleet:finding-state": Submission,
    "fleet:visit-report": Visit,
    "fleet:report-link": Visit,
    "fleet:report-link-revoke": ReportLink,
    **dict.fromkeys(("fleet:stop", "fleet:stop-map", "fleet:stop-state", "fleet:stop-finding"), Stop),
    **dict.fromkeys(("fleet:break", "fleet:break-accept", "fleet:break-discard"), DayBreak),
    "fleet:call-note": CustomerCall,
    **dict.fromkeys(("fleet:hold-confirm", "fleet:hold-release"), HeldWindow),
    "fleet:stop-move": Stop,
    "fleet:stop-drop": Stop,
    "fleet:stop-lock": Visit,
    "fleet:photo": Photo,
    "fleet:watch-flag": Flag,
    "fleet:round-decide": Recommendation,
    "fleet:round-edit": Recommendation,
    "fleet:zone-audit-withdraw": ZoneAudit,
    "fleet:device-revoke": DeviceToken,
    "fleet:person": User,
    "fleet:run-retry": StageRun,
    **COMPANY_THINGS,
    "fleet:rule-restore": Change,
    **dict.fromkeys(
        ("fleet:rebate", "fleet:rebate-csv", "fleet:rebate-edit", "fleet:rebate-dossier"), Rebate
    ),
    "fleet:weather-reference": Location,
    "fleet:weather-day": Location,
    "weather:location-csv": Location,
}
RULE_CODES: Final = frozenset({"fleet:rule-set", "fleet:rule-edit", "fleet:rule-remove"})


def role_of(user: User | AnonymousUser) -> str:
    """The role of a signed-in person, empty for a visitor."""
    return user.role if isinstance(user, User) else ""


def may_see(role: str, view_name: str) -> bool:
    """Whether the table opens a view to a role."""
    return role in ROLES.get(view_name, frozenset())


class RoleMiddleware:
    """Refuses a page to a role that the table does not name."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The response of the next layer."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], args: object, kwargs: Mapping[str, Any]
    ) -> HttpResponse | None:
        """Raises PermissionDenied where the table says so, Http404 where the thing is not this person's."""
        del view, args
        match = request.resolver_match
        name = match.view_name if match is not None else ""
        if name in SELF_GUARDED or name in DEVICES or not request.user.is_authenticated:
            return None
        role = role_of(request.user)
        is_open = role == A if name.startswith("admin:") else may_see(role, name)
        if not is_open:
            message = f"The role {role} may not open this page."
            raise PermissionDenied(message)
        if (
            role in settings.SECOND_FACTOR_ROLES
            and name not in BEFORE_FACTOR
            and not has_second_factor(user_id=request.user.pk)
        ):
            return redirect("fleet:account-factor")
        if role == T and not _is_own(request.user, name, kwargs):
            raise Http404
        return None


def _is_own(user: User | AnonymousUser, name: str, words: Mapping[str, Any]) -> bool:
    """Whether all that an address names belongs to this technician's visits."""
    asked: list[tuple[type[Model], Any]] = []
    if "pk" in words and name in THINGS:
        asked.append((THINGS[name], words["pk"]))
    if "code" in words and name not in RULE_CODES:
        asked.append((Site, words["code"]))
    if len(asked) < len({"pk", "code", "key"} & set(words)):
        return name in VISITORS  # a thing of the whole company
    today = company_day(now=timezone.now())
    return isinstance(user, User) and all(
        may_open_thing(user=user, kind=kind, key=key, today=today) for kind, key in asked
    )
