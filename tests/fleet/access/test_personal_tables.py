"""No column in which people write of a customer is forgotten by the file handed out, or by an erasure."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.db.models import CharField, ForeignKey, JSONField, Model, TextField
from django.test import Client
from django.urls import reverse

from fleet.models import (
    AuditEntry,
    Company,
    CustomerCall,
    DayBreak,
    Flag,
    PlanRun,
    Quote,
    Rebate,
    RebateClaim,
    Stop,
    User,
)
from fleet.selectors.company.personal_data import CONTACT
from fleet.selectors.company.personal_tables import TABLES
from fleet.services.company.audit import record_audit
from fleet.services.company.erase_customer import erase_customer
from sites.models import BypassLog, Controller, Fixture, Recommendation, Site, ZoneAudit
from tests.conftest import DAY, NOW
from tests.fleet.access.every_address import things_of

WORDS = "ask Aunt Zephyrine"
# Columns of text of a garden's tables that say nothing of a person: our own words and codes, what a thing
# is called, what was sold, which employee did it.
NOBODY: dict[str, set[str]] = {
    "VisitNeed": {"key", "reason", "value_parts", "skill", "parts", "blocked_by", "locate_ticket"},
    "Visit": {"skill", "unserved_reason", "unserved_code", "unserved_change"},
    "ServiceContract": {"currency"},
    "Finding": {
        "client_key", "kind", "cause", "turf", "parts", "answers", "checked_by", "effects", "words",
    },
    "CustomerCall": {"why", "technician", "by"},
    "HeldWindow": {"by", "cost"},
    "Submission": {"client_key"},
    "Photo": {"client_key", "finding_key", "step", "caption", "received_sha256", "sha256"},  # rows go
    "ReportLink": {"made_by"},
    "StockMove": {"deed", "by"},
    "Quote": {"title", "currency", "made_by"},
    "QuoteLine": {"words", "unit"},
    "RebateClaim": {"area_method"},
    "WatchState": {"evidence", "unseen", "trace"},
    "Flag": {"evidence", "truth"},
    "WatchHabit": {"book"},
    "LedgerMonth": {"reasons"},
    "LedgerSite": {"model", "verdict"},
    "Site": {"code", "timezone", "rule_set", "supplier", "no_weather_reason"},
    "Controller": {"code", "day_modes", "assumed"},
    "Sensor": {"threshold_steps_kpa", "turf_seen"},
    "Zone": {"name"},
    "ZoneAudit": {"client_key", "done_by", "recorded_by", "catch_ml", "heads", "before", "withdrawn_by"},
    "BalanceFront": {"fingerprint"},
    "ValveBox": {"name"},
    "Wire": {"fingerprint"},
    "Structure": {"fingerprint"},
    "Sprinkler": {"fingerprint"},
    "Fixture": {"fingerprint"},
    "Meter": {"code"},
    "MeterVolume": {"unit"},
    "MeterReading": {"unit"},
    "ProgramLine": {"letter", "days", "starts"},
    "Recommendation": {"reasons", "binding_limit", "decided_by"},
    "RecommendationLine": {"letter", "days", "starts"},
}  # fmt: skip


def leads_to_a_garden(model: type[Model], seen: frozenset[type[Model]] = frozenset()) -> bool:
    """Whether a row of a model belongs to a garden."""
    if model is Site:
        return True
    ways = [one for one in model._meta.concrete_fields if isinstance(one, ForeignKey)]
    kinds = {one.related_model for one in ways} - {model, *seen}
    return any(leads_to_a_garden(kind, seen | {model}) for kind in kinds)


def test_every_column_of_text_of_a_garden_is_erased_or_says_nothing_of_a_person() -> None:
    erased = {table.model.__name__: set(table.written) for table in TABLES} | {"Site": set(CONTACT)}
    unknown = {}
    for model in apps.get_models():
        if model._meta.app_label not in ("fleet", "sites") or not leads_to_a_garden(model):
            continue
        texts = {
            one.name
            for one in model._meta.concrete_fields
            if isinstance(one, CharField | TextField | JSONField) and not one.choices
        }
        name = model.__name__
        left = texts - erased.get(name, set()) - NOBODY.get(name, set())
        if left:
            unknown[name] = left

    assert unknown == {}
    assert not {name for name, columns in NOBODY.items() if columns & erased.get(name, set())}
    handed = {table.model.__name__: set(table.columns) for table in TABLES}
    assert not {table.name for table in TABLES if not set(table.written) <= handed[table.model.__name__]}


@pytest.fixture
def garden(company: Company, technician_user: User) -> Site:
    """A garden of whose customer somebody wrote everywhere."""
    things_of(technician_user, "CB-14")
    site, controller = Site.objects.get(), Controller.objects.get()
    Site.objects.update(customer="Zephyrine Quill", phone="555 0177", name="Quill garden")
    Quote.objects.update(words=WORDS, decided_how=WORDS)
    CustomerCall.objects.update(note=WORDS)
    Flag.objects.update(resting_reason=WORDS)
    Recommendation.objects.update(note=WORDS, outside_reason=WORDS)
    ZoneAudit.objects.update(note=WORDS)
    Stop.objects.filter(visit__isnull=False).update(not_possible_reason=WORDS)
    Fixture.objects.create(site=site, kind="shutoff", fingerprint="1", note=WORDS)
    log: dict[str, Any] = {"start": DAY, "end": DAY.replace(day=16), "starts_bypassed": 1}
    BypassLog.objects.create(controller=controller, note=WORDS, **log)
    RebateClaim.objects.create(
        rebate=Rebate.objects.get(), site=site, account="ZQ-1", invoice="7", note=WORDS
    )
    return site


@pytest.mark.django_db
def test_an_erasure_finds_every_note_and_the_file_hands_each_out(garden: Site, technician_user: User) -> None:
    client = Client()
    leah = User.objects.create_user("leah", role=User.Role.ADMINISTRATOR)
    client.force_login(leah, backend="django.contrib.auth.backends.ModelBackend")
    for search in ("quill", "  Zephyrine Q", "ill", "q", "elm street"):
        record_audit(by="hana", what=f"search of gardens, “{search}”", at=NOW, kind="seen")
    stop = Stop.objects.exclude(not_possible_reason="").earliest("pk")
    copy = {"stops": [{"visit_id": stop.visit_id, "not_possible_reason": WORDS}], "needs": []}
    PlanRun.objects.create(week=DAY, planned_at=NOW, before=copy)
    DayBreak.objects.update(rows=[{"site": "CB-14", "name": "Quill garden"}, {"site": "X", "name": "Elm"}])

    said = _handed_out(client)
    with_words = {name for name, rows in said.items() if WORDS in json.dumps(rows)}
    assert with_words == {
        "quotes", "calls", "sensor_flags", "programs", "zone_audits", "stops", "fixtures", "bypass_logs",
        "rebate_claims",
    }  # fmt: skip
    page = client.get(reverse("fleet:customer", args=["CB-14"])).content.decode()
    assert "rebate claims: what people wrote there" in page

    erase_customer(site_id=garden.pk, by="leah", at=NOW, folder=Path("nowhere"))

    left = json.dumps(_handed_out(client))
    for words in (WORDS, "Quill", "555 0177", "ZQ-1"):
        assert words not in left, words
    assert WORDS not in json.dumps(PlanRun.objects.get().before)
    assert DayBreak.objects.get().rows == [{"site": "CB-14", "name": "CB-14"}, {"site": "X", "name": "Elm"}]
    searches = AuditEntry.objects.filter(by="hana").order_by("pk").values_list("what", flat=True)
    assert list(searches) == [
        *["search of gardens, words erased"] * 3,
        "search of gardens, “q”", "search of gardens, “elm street”",
    ]  # fmt: skip
    page = client.get(reverse("fleet:customer", args=["CB-14"])).content.decode()
    assert "Nothing is left to erase" in page
    assert Quote.objects.get().title == "new sensor"


def _handed_out(client: Client) -> dict[str, Any]:
    """The tables of the file."""
    answer = client.get(reverse("fleet:customer-data", args=["CB-14"]))
    found: dict[str, Any] = json.loads(zipfile.ZipFile(io.BytesIO(answer.content)).read("customer.json"))
    return found
