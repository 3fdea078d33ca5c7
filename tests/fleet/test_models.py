"""The database itself refuses what must never be."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from fleet.models import Company, Flag, Technician
from sites.models import BypassLog, Controller, Meter, MeterVolume, Site, Zone
from tests.factories import build_controller, build_site, build_technician, build_zone
from weather.models import Location

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"area_m2": 0.0}, "zone_area_positive"),
        ({"distribution_uniformity": 1.2}, "zone_uniformity_in_0_1"),
        ({"precipitation_rate_mm_h": -1.0}, "zone_precipitation_rate_positive"),
    ],
)
def test_a_zone_with_impossible_numbers_is_refused(change: dict[str, Any], name: str) -> None:
    zone = build_zone(build_controller(build_site()))

    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        Zone.objects.filter(pk=zone.pk).update(**change)


def test_a_station_feeds_one_zone() -> None:
    controller = build_controller(build_site())
    build_zone(controller, station=2)

    with pytest.raises(IntegrityError), transaction.atomic():
        build_zone(controller, station=2)


def test_a_controller_code_is_unique_in_its_site_only() -> None:
    build_controller(build_site("A-1"), "A")
    build_controller(build_site("A-2"), "A")

    assert Controller.objects.filter(code="A").count() == 2
    with pytest.raises(IntegrityError), transaction.atomic():
        build_controller(Site.objects.get(code="A-1"), "A")


def test_more_bypassed_and_skipped_than_scheduled_is_refused() -> None:
    controller = build_controller(build_site())

    with pytest.raises(IntegrityError, match="bypass_log_not_more_than_scheduled"), transaction.atomic():
        BypassLog.objects.create(
            controller=controller,
            start=date(2026, 6, 1),
            end=date(2026, 6, 2),
            starts_scheduled=3,
            starts_bypassed=2,
            starts_skipped=2,
        )


def test_a_controller_has_at_most_one_open_flag() -> None:
    controller = build_controller(build_site())
    Flag.objects.create(controller=controller, cause="stuck_wet", raised_on=date(2026, 6, 1), probability=0.9)

    with pytest.raises(IntegrityError), transaction.atomic():
        Flag.objects.create(
            controller=controller, cause="stuck_dry", raised_on=date(2026, 6, 2), probability=0.9
        )


def test_a_shift_must_end_after_it_starts() -> None:
    technician = build_technician()

    with pytest.raises(IntegrityError, match="technician_shift_ends_after_start"), transaction.atomic():
        Technician.objects.filter(pk=technician.pk).update(shift_end=technician.shift_start)


def test_a_location_must_be_on_earth() -> None:
    with pytest.raises(IntegrityError, match="location_on_earth"), transaction.atomic():
        Location.objects.create(name="nowhere", latitude=95.0, longitude=0.0, elevation_m=0.0)


def test_negative_use_is_refused() -> None:
    meter = Meter.objects.create(site=build_site())

    with pytest.raises(IntegrityError, match="meter_volume_not_negative"), transaction.atomic():
        MeterVolume.objects.create(
            meter=meter,
            start=date(2026, 6, 1),
            end=date(2026, 7, 1),
            volume_l=-1.0,
            volume_given=-1.0,
            unit="l",
        )


def test_there_is_one_company(company: Company) -> None:
    with pytest.raises(IntegrityError, match="company_only_one"), transaction.atomic():
        Company.objects.create(pk=2, name="Another")
