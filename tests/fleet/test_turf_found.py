"""What patches in the turf ask for (common practice, no source)."""

from __future__ import annotations

import pytest

from fleet.models import Company, Stop, VisitNeed
from fleet.services.findings import FindingInput, FindingRecorded, record_finding
from tests.fleet.test_stop_pages_data import NOON, flagged_stop

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
