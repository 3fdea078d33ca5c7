"""What patches in the turf ask for (common practice, no source)."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, Stop, User, VisitNeed
from fleet.services.on_site.findings import FindingInput, FindingRecorded, record_finding
from sites.models import Zone
from tests.factories import build_zone
from tests.fleet.on_site.test_stop_pages_data import NOON, flagged_stop

pytestmark = pytest.mark.django_db


def record(stop: Stop, turf: str, key: str = "k") -> FindingRecorded:
    """A finding about the flag at a stop, with the colour of the turf."""
    need = VisitNeed.objects.get(kind="sensor_check")
    finding = FindingInput(client_key=key, stop_id=stop.pk, need_id=need.pk, recorded_at=NOON, turf=turf)
    return record_finding(finding=finding, by="ines")


def test_patches_ask_for_a_look_at_coverage_once(company: Company) -> None:
    stop = flagged_stop()

    told = record(stop, "patchy")
    record(stop, "patchy", key="k2")

    need = VisitNeed.objects.get(origin="finding")
    assert need.kind == "audit"
    assert need.reason == "Patches inside a zone: check its coverage (heads, pressure), not the sensor."
    assert any("coverage" in sentence for sentence in told.changes)


@pytest.mark.parametrize("turf", ["good", "evenly_dry", "soggy", ""])
def test_other_turf_raises_no_audit(company: Company, turf: str) -> None:
    record(flagged_stop(), turf)

    assert not VisitNeed.objects.filter(origin="finding").exists()


def test_a_reading_is_told_back_with_its_method(company: Company) -> None:
    stop = flagged_stop()
    need = VisitNeed.objects.get(kind="sensor_check")

    told = record_finding(
        finding=FindingInput(
            client_key="k", stop_id=stop.pk, need_id=need.pk, recorded_at=NOON, resistance_kohm=3.0,
            soil_temperature_c=24.0,
        ),
        by="ines",
    )  # fmt: skip

    assert "The sensor: 3 kohm at 24 degC: 20 kPa (Shock and others 1998)." in told.changes


def test_the_form_offers_the_turf_and_takes_stations(
    company: Company, dispatcher: User, sign_in: Callable[[User], Client]
) -> None:
    stop, technician = flagged_stop(), sign_in(dispatcher)
    address = reverse("fleet:stop", args=[stop.pk])
    page = technician.get(address).content.decode()

    assert '<option value="evenly_dry">evenly dry</option>' in page
    zone = Zone.objects.get()
    build_zone(zone.controller, 2)
    need = VisitNeed.objects.get(kind="sensor_check")
    technician.post(
        reverse("fleet:stop-finding", args=[stop.pk]),
        {"client_key": "k", "need": need.pk, "dry_stations": "2"},
    )
    assert Zone.objects.get(station=2).margin_factor == 1.1
    assert Zone.objects.get(station=zone.station).margin_factor == 1.0
    bad = technician.post(
        reverse("fleet:stop-finding", args=[stop.pk]),
        {"client_key": "k2", "need": need.pk, "dry_stations": "front lawn"},
        follow=True,
    )
    assert "expected station numbers" in bad.content.decode()
