"""Every address of the installation, with one thing of each kind for it to show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from fleet.models import (
    CustomerCall,
    DayBreak,
    DeviceToken,
    Finding,
    Flag,
    HeldWindow,
    Part,
    Photo,
    Quote,
    Rebate,
    ReportLink,
    ServiceContract,
    StageRun,
    StockPlace,
    Stop,
    Submission,
    User,
    Visit,
    WatchState,
)
from fleet.selectors.on_site.photo_files import photo_folder, photo_path
from fleet.services.on_site.report_links import token_of
from sites.models import Change, Recommendation, RuleSet, Site, ZoneAudit
from tests.conftest import DAY, NOW
from tests.factories import build_location, build_sensor, build_zone
from tests.fleet.on_site.test_phone_sending import a_stop
from tests.weather.test_selectors import build_day


@dataclass(frozen=True, slots=True)
class Address:
    """A named address with the words that its pattern asks for."""

    name: str
    words: tuple[str, ...]


def every_address() -> Iterator[Address]:
    """Every named address once; those of Django's admin together as `admin:*`, in `admin_addresses`."""
    seen: set[str] = set()
    for address in _walk(get_resolver(), ""):
        if not address.name.startswith("admin:") and address.name not in seen:
            seen.add(address.name)
            yield address


def admin_addresses() -> list[Address]:
    """The addresses of Django's admin."""
    return [address for address in _walk(get_resolver(), "") if address.name.startswith("admin:")]


def _walk(resolver: URLResolver, space: str) -> Iterator[Address]:
    """Named addresses below a resolver."""
    for one in resolver.url_patterns:
        if isinstance(one, URLResolver):
            inner = f"{space}{one.namespace}:" if one.namespace else space
            yield from _walk(one, inner)
        elif isinstance(one, URLPattern):
            yield Address(f"{space}{one.name or one.pattern}", tuple(one.pattern.converters))


def things_of(user: User, code: str) -> dict[str, dict[str, Any]]:
    """One garden on a technician's route of today with one thing of each kind; words by address."""
    stop = a_stop(user, code)
    assert stop.visit is not None
    visit, site = stop.visit, stop.visit.site
    controller = site.controllers.get()
    zone = build_zone(controller, 1)
    build_sensor(controller)
    location = build_location(f"location of {code}")
    build_day(location, DAY)
    Site.objects.filter(pk=site.pk).update(location=location)
    finding = Finding.objects.create(client_key=f"f{code}", visit=visit, stop=stop, recorded_at=NOW)
    link = ReportLink.objects.create(visit=visit, made_at=NOW, made_by="hana", expires_at=NOW.replace(2100))
    photo = _photo(stop, code, finding)
    sent = Submission.objects.create(
        client_key=f"s{code}", kind="state", visit=visit, said_at=NOW, sent_at=NOW, received_at=NOW,
        skew_s=0, happened_at=NOW, outcome="aside",
    )  # fmt: skip
    WatchState.objects.create(controller=controller, as_of=DAY, status="flag")
    flag = Flag.objects.create(controller=controller, cause="stuck_dry", raised_on=DAY, probability=0.9)
    program = Recommendation.objects.create(
        controller=controller, week=DAY, is_change=False, computed_on=DAY, needs_wire_move=False
    )
    rules = RuleSet.objects.create(code=f"rules-{code}", supplier="Hill Water")
    change = Change.objects.create(at=NOW, by="hana", kind="rule_set", key=rules.code, action="changed")
    audit = ZoneAudit.objects.create(
        zone=zone, client_key="a", done_on=DAY, done_by="Ines", recorded_by="ines", recorded_at=NOW
    )
    token = DeviceToken.objects.create(
        name=code, token_hash=code, hint="rr_", kinds="bypass", created_at=NOW, created_by="ruth"
    )
    run = StageRun.objects.create(stage="ledger", scope=code, day=DAY, asked_at=NOW, state="failed")
    rebate = Rebate.objects.create(
        name=code,
        supplier="Hill Water",
        starts_on=DAY,
        ends_on=DAY.replace(2100),
        currency="USD",
        checked_on=DAY,
    )
    Site.objects.filter(pk=site.pk).update(supplier="Hill Water")
    need = visit.needs.get()
    late = {"kind": "late", "minutes": 5}
    day_break = DayBreak.objects.create(kind="late", day=DAY, week=DAY, asked_at=NOW, moment=NOW, asked=late)
    call = CustomerCall.objects.create(visit=visit, made_at=NOW, why="late")
    place_held = Visit.objects.create(
        site=site, week=DAY, number=900, service_min=30, value_per_day=1, state="told", told_at=NOW
    )
    hold = HeldWindow.objects.create(
        place=place_held, wanted=visit, technician=stop.route.technician, day=DAY, made_at=NOW, expires_at=NOW
    )
    place = StockPlace.objects.create(code=code, name=f"depot of {code}")
    quote = Quote.objects.create(site=site, title="new sensor", currency="USD", made_on=DAY, made_by="hana")
    contract = ServiceContract.objects.create(
        site=site, starts_on=DAY.replace(2025), ends_on=DAY.replace(2100), visits_included=2, price=300,
        currency="USD",
    )  # fmt: skip
    contract.included.create(kind="audit", count=1)
    part = Part.objects.create(code=code.lower(), name=f"part of {code}")
    pks = {
        "fleet:break": day_break.pk, "fleet:call-note": call.pk, "fleet:hold": hold.pk,
        "fleet:stock-": place.pk, "fleet:part": part.pk, "fleet:quote": quote.pk,
        "fleet:contract": contract.pk, "fleet:contract-back": change.pk,
        "fleet:settings-back": change.pk, "fleet:technician": stop.route.technician_id,
        "fleet:technician-back": change.pk,
        "fleet:need": need.pk, "fleet:stop": stop.pk, "fleet:stop-lock": visit.pk,
        "fleet:finding": finding.pk, "fleet:finding-state": sent.pk,
        "fleet:visit-report": visit.pk, "fleet:report-link": visit.pk,
        "fleet:report-link-revoke": link.pk, "fleet:photo": photo.pk, "fleet:customer-photo": photo.pk,
        "fleet:watch-flag": flag.pk, "fleet:round": program.pk, "fleet:device": token.pk,
        "fleet:weather": location.pk, "weather:": location.pk, "fleet:zone-audit-withdraw": audit.pk,
        "fleet:rule-restore": change.pk, "fleet:person": user.pk,
        "fleet:run-retry": run.pk, "fleet:rebate": rebate.pk,
    }  # fmt: skip
    words = {
        "code": site.code, "controller": controller.code, "station": 1, "day": DAY.isoformat(),
        "token": token_of(link), "rest": "v1/anything",
        "uidb64": "MQ",
    }  # fmt: skip
    found = {}
    for address in every_address():
        given = {word: words[word] for word in address.words if word in words}
        if address.name.startswith("fleet:rule-"):
            given |= {"code": rules.code} if "code" in given else {}
        if "pk" in address.words:
            given["pk"] = next(pk for name, pk in _longest_first(pks) if address.name.startswith(name))
        found[address.name] = given
    return found


def a_file(client: Client) -> str:
    """The key of a file that waits under Imports."""
    sent = SimpleUploadedFile("sites.csv", b"site,name,longitude,latitude\nNN-1,New,-104.7,41.2\n")
    return str(client.post(reverse("fleet:bring"), {"file": sent})["Location"]).strip("/").split("/")[1]


def _photo(stop: Stop, code: str, finding: Finding) -> Photo:
    """A photo of the own work."""
    path = photo_path(folder=photo_folder(data_dir=settings.DATA_DIR), sha256="0" * 64)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"a picture")
    assert stop.visit is not None
    return Photo.objects.create(
        client_key=f"p{code}", visit=stop.visit, finding=finding, taken_at=NOW, received_at=NOW,
        received_sha256="0" * 64, sha256="0" * 64, size_bytes=1, width_px=1, height_px=1,
    )  # fmt: skip


def _longest_first(pks: dict[str, int]) -> list[tuple[str, int]]:
    """Beginnings of names, the most exact first."""
    return sorted(pks.items(), key=lambda pair: -len(pair[0]))
