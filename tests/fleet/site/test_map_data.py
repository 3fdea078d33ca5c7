"""What the map asks for: told once, and again only when something has changed."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User, WatchState
from sites.models import Change, Site
from tests.factories import DAY, build_controller, build_site, build_technician

pytestmark = pytest.mark.django_db


def test_sites_are_told_again_as_soon_as_state_place_or_name_change(
    company: Company, dispatcher: User, sign_in: Callable[[User], Client]
) -> None:
    site = build_site("CB-14", longitude=-104.7, latitude=41.2)
    state = WatchState.objects.create(controller=build_controller(site), as_of=DAY, status="healthy")
    visitor, path = sign_in(dispatcher), reverse("fleet:map-sites")
    seen = []

    def look(shape: str) -> None:
        first = visitor.get(path)
        assert first.json()["sites"][0][3] == shape
        assert visitor.get(path, headers={"If-None-Match": first["ETag"]}).status_code == 304
        seen.append(first["ETag"])

    look("ok")
    WatchState.objects.filter(pk=state.pk).update(status="flag")
    look("act")
    Site.objects.filter(pk=site.pk).update(longitude=-104.69)
    look("act")
    Change.objects.create(at="2026-06-15T12:00:00Z", by="hana", site_code="CB-14", key="CB-14", kind="site")
    look("act")
    build_technician("T9", start_longitude=-104.6)
    look("act")
    build_site("CB-15", longitude=-104.7, latitude=41.2)
    look("act")

    assert len(set(seen)) == len(seen)


def test_the_ground_is_told_as_it_is_stored(
    company: Company, dispatcher: User, sign_in: Callable[[User], Client]
) -> None:
    visitor, path = sign_in(dispatcher), reverse("fleet:map-ground")
    layers = {"names": {"type": "FeatureCollection", "features": [{"properties": {"name": "Süd"}}]}}
    empty = visitor.get(path)
    Company.objects.update(map_layers=layers)

    first = visitor.get(path, headers={"If-None-Match": empty["ETag"]})
    again = visitor.get(path, headers={"If-None-Match": first["ETag"]})

    assert first.json() == layers
    assert (again.status_code, again.content) == (304, b"")
