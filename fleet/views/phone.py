"""The phone without network: what it takes along, and what it sends when the network is back."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any, Final

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from fleet.calc.on_site.phone_clock import moments
from fleet.models import Submission
from fleet.phone_assets import asset_urls, build_version
from fleet.plain_requests import NUL
from fleet.selectors.company.company import company_day
from fleet.selectors.on_site.phone_facts import company_phone, owner_of, seals_of
from fleet.selectors.on_site.phone_pack import day_pack
from fleet.selectors.on_site.photo_files import photo_folder
from fleet.selectors.on_site.stop_ticket import BadTicket, Ticket, read_ticket
from fleet.services.on_site.finding_input import BadFinding
from fleet.services.on_site.photos import BadPhoto, PhotoNotWhole, PhotoSent, keep_photo
from fleet.services.on_site.submissions import RESOLVES, Answer, NotYours, Sent, take_submission
from fleet.views.asked import asking_user
from fleet.views.finding_form import finding_of

STATUS: Final = {
    Submission.Outcome.TAKEN: 200,
    Submission.Outcome.ASIDE: 200,
    Submission.Outcome.DROPPED: 200,
    Submission.Outcome.ASKS: 409,
    Submission.Outcome.REFUSED: 422,
}
LONGEST_BODY: Final = 60_000


class NotReadable(ValueError):
    """The body is not what a phone of ours sends; the message says what was expected."""


@login_not_required
@never_cache
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The script that stands between the phone and the network; its scope is the whole site."""
    facts = {
        "version": build_version(),
        "assets": [*asset_urls(), reverse("fleet:phone-offline")],
        "static": settings.STATIC_URL if settings.STATIC_URL.startswith("/") else f"/{settings.STATIC_URL}",
        "offline": reverse("fleet:phone-offline"),
        "day": reverse("fleet:day"),
        "sign_out": reverse("logout"),
        "scripts": [static("fleet/js/phone/store.js"), static("fleet/js/phone/send.js")],
        "urls": _urls(),
    }
    answer = render(request, "phone/worker.js", {"facts": json.dumps(facts)}, content_type="text/javascript")
    answer["Service-Worker-Allowed"] = "/"
    return answer


@login_not_required
@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """What a phone needs to install the pages as an app."""
    del request
    icons = [
        {"src": static("fleet/mark-192.png"), "sizes": "192x192", "type": "image/png"},
        {"src": static("fleet/mark-512.png"), "sizes": "512x512", "type": "image/png"},
        {
            "src": static("fleet/mark-512.png"),
            "sizes": "512x512",
            "type": "image/png",
            "purpose": "maskable",
        },
    ]
    facts = {
        "id": reverse("fleet:day"),
        "name": "Rootround",
        "short_name": "Rootround",
        "description": "The technician's day: stops, maps, checks and programs, also without network.",
        "start_url": reverse("fleet:day"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#faf8f3",
        "theme_color": "#faf8f3",
        "icons": icons,
    }
    return HttpResponse(json.dumps(facts), content_type="application/manifest+json")


@login_not_required
@require_safe
def offline(request: HttpRequest) -> HttpResponse:
    """What stands where a page is not on the phone and there is no network."""
    return render(request, "phone/offline.html")


@never_cache
@require_safe
def me(request: HttpRequest) -> JsonResponse:
    """Who is signed in, the keys of what waits for this person, our clock, and a token to send with."""
    user = asking_user(request)
    return JsonResponse(
        {
            "owner": owner_of(user=user),
            "seals": seals_of(user=user),
            "csrf": get_token(request),
            "now": timezone.now().timestamp() * 1000,
            "build": build_version(),
        }
    )


@never_cache
@require_safe
def pack(request: HttpRequest) -> JsonResponse:
    """What the phone takes along today."""
    now = timezone.now()
    found = day_pack(user=asking_user(request), day=company_day(now=now), now=now)
    return JsonResponse(
        {
            "day": found.day.isoformat(),
            "version": f"{found.version}-{build_version()}",
            "urls": found.urls,
            "stops": found.stops,
            "kept_ms": found.kept_hours * 3_600_000,
            "codes_until": found.codes_until.timestamp() * 1000,
            "now": now.timestamp() * 1000,
        }
    )


@never_cache
@require_safe
def waiting(request: HttpRequest) -> HttpResponse:
    """Show what waits on this phone to be sent, and what the phone keeps; the script fills it in."""
    return render(request, "phone/waiting.html")


@never_cache
@require_POST
def send(request: HttpRequest) -> JsonResponse:
    """Take one thing from a phone's queue: a state or a finding."""
    user, now = asking_user(request), timezone.now()
    try:
        body = _body(request)
        ticket = _ticket(request, str(body.get("owner", "")), str(body.get("ticket", "")))
        sent = _sent(body, ticket, now, is_us=(body.get("units") or user.units) == "us")
        answer = take_submission(sent=sent, ticket=ticket, user=user, now=now)
    except NotReadable as error:
        return JsonResponse({"outcome": "refused", "words": [str(error)]}, status=400)
    except (BadTicket, NotYours) as error:
        return JsonResponse({"outcome": "forbidden", "words": [str(error)]}, status=403)
    return _told(answer)


@never_cache
@require_POST
def send_photo(request: HttpRequest) -> JsonResponse:
    """Take one photo from a phone's queue."""
    now, form, limits = timezone.now(), request.POST, company_phone()
    try:
        ticket = _ticket(request, form.get("owner", ""), form.get("ticket", ""))
        data = _file(request, limits.photo_mb)
        said, sent_at = _moment(form.get("said_at")), _moment(form.get("sent_at"))
        kept = keep_photo(
            sent=PhotoSent(
                key=_key(form.get("key")),
                data=data,
                taken_at=moments(said, sent_at, now).happened_at,
                said_sha256=form.get("sha256", "")[:64],
                finding_key=form.get("finding_key", "")[:64],
                step=form.get("step", "")[:40],
                caption=form.get("caption", "")[:200].replace("\x00", ""),
            ),
            visit_id=ticket.visit_id,
            technician_id=ticket.technician_id,
            settings=limits,
            folder=photo_folder(data_dir=settings.DATA_DIR),
            now=now,
        )
    except NotReadable as error:
        return JsonResponse({"outcome": "refused", "words": [str(error)]}, status=400)
    except BadTicket as error:
        return JsonResponse({"outcome": "forbidden", "words": [str(error)]}, status=403)
    except BadPhoto as error:
        return JsonResponse({"outcome": "refused", "words": [str(error)]}, status=422)
    except PhotoNotWhole as error:
        return JsonResponse({"outcome": "again", "words": [str(error)]}, status=503)
    return JsonResponse({"outcome": "taken", "words": [], "photo": kept.photo_id})


def _file(request: HttpRequest, most_mb: float) -> bytes:
    """The bytes of the photo, if there are not too many."""
    file = request.FILES.get("photo")
    if file is None or (file.size or 0) > most_mb * 1_000_000:
        raise BadPhoto(f"expected a photo of at most {most_mb:g} MB")
    return bytes(file.read())


def _told(answer: Answer) -> JsonResponse:
    """An answer for the phone."""
    facts = {
        "outcome": answer.outcome,
        "words": answer.words,
        "received_at": answer.received_at.isoformat(),
        "is_new": answer.is_new,
    }
    return JsonResponse(facts, status=STATUS[Submission.Outcome(answer.outcome)])


def _ticket(request: HttpRequest, owner: str, text: str) -> Ticket:
    """The ticket of what was sent; it was written by the person who sends it."""
    user = asking_user(request)
    if owner != owner_of(user=user):
        raise BadTicket("this was written under another name; sign in with that name to send it")
    today = company_day(now=timezone.now())
    return read_ticket(text=text, user_id=user.pk, today=today, days=company_phone().sent_late_days)


def _body(request: HttpRequest) -> dict[str, Any]:
    """The JSON that came."""
    if len(request.body) > LONGEST_BODY:
        raise NotReadable(f"expected at most {LONGEST_BODY} bytes")
    try:
        body = json.loads(request.body)
    except (ValueError, RecursionError) as error:
        raise NotReadable("expected JSON, nested a few levels") from error
    if not isinstance(body, dict):
        raise NotReadable("expected an object")
    return body


def _sent(body: dict[str, Any], ticket: Ticket, now: datetime, *, is_us: bool) -> Sent:
    """What came, as the service takes it; a finding that cannot be read goes along with its problem."""
    kind, resolve = body.get("kind"), body.get("resolve", "")
    fields = body.get("fields", {})
    if kind not in (Submission.Kind.STATE, Submission.Kind.FINDING):
        raise NotReadable("kind: expected state or finding")
    if resolve not in RESOLVES:
        raise NotReadable("resolve: expected keep or drop")
    if not isinstance(fields, dict) or not all(isinstance(one, str) for one in fields.values()):
        raise NotReadable("fields: expected texts by name")
    fields = {name.replace(NUL, ""): one.replace(NUL, "") for name, one in fields.items()}
    key = _key(body.get("key"))
    said_at, sent_at = _moment(body.get("said_at")), _moment(body.get("sent_at"))
    payload = {"fields": fields, "ticket_day": ticket.day.isoformat(), "stop": ticket.stop_id}
    if kind == Submission.Kind.STATE:
        state, reason = fields.get("state", ""), fields.get("reason", "")[:200]
        return Sent(key, kind, said_at, sent_at, payload, state=state, reason=reason, resolve=resolve)
    try:
        finding = finding_of(fields, key=key, stop_id=ticket.stop_id, now=now, is_us=is_us)
    except BadFinding as error:
        return Sent(key, kind, said_at, sent_at, payload, problem=str(error), resolve=resolve)
    payload["finding"] = finding.as_kept()
    return Sent(key, kind, said_at, sent_at, payload, finding=finding, resolve=resolve)


def _key(value: object) -> str:
    """The key that the phone made."""
    if not isinstance(value, str) or not 8 <= len(value) <= 64 or not value.isascii():
        raise NotReadable("key: expected 8 to 64 characters")
    return value


def _moment(value: object) -> datetime:
    """A moment of a phone's clock, milliseconds since 1970."""
    try:
        return datetime.fromtimestamp(float(str(value)) / 1000, tz=UTC)
    except (ValueError, OverflowError, OSError):
        raise NotReadable("said_at, sent_at: expected milliseconds since 1970") from None


def _urls() -> dict[str, str]:
    """Addresses that the scripts of the phone ask."""
    names = {"me": "phone-me", "pack": "phone-pack", "send": "phone-send", "photo": "phone-photo"}
    return {key: reverse(f"fleet:{name}") for key, name in names.items()}
