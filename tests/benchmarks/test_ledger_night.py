"""A night's ledger and the pages that it serves at design size; prints figures, asserts no time."""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import TypeVar

import numpy as np
import pytest
from django.db.models import F
from django.test import Client

from fleet.models import Company, LedgerMonth, Tariff, User
from fleet.selectors.ledger.inputs import need_of_sites
from fleet.services.bulk_rows import upsert_rows
from fleet.services.ledger.record import update_ledger
from sites.models import Controller, Meter, MeterVolume, Sensor, Site, Zone
from tests.factories import build_controller, build_location, build_site, build_zone
from weather.models import DailyWeather

pytestmark = pytest.mark.django_db

FIRST, UNTIL = date(2021, 6, 1), date(2026, 5, 31)  # five years of monthly bills
LOCATIONS, ZONES_EACH = 20, 6
PAGES = (
    "/water/", "/water/?show=unknown", "/water/?show=under&page=3", "/water/parts/", "/water/parts/?by=soil",
    "/water/unjudged/", "/water/report/", "/water/renewals/", "/water/rebates/", "/water/sites/N17-00017/",
)  # fmt: skip


def weather() -> list[int]:
    """Places with a dry summer and some storms, each a little apart from the next."""
    rng = np.random.default_rng(1)
    days = [FIRST + timedelta(days=k) for k in range((UNTIL - FIRST).days + 1)]
    turn = np.array([(day.timetuple().tm_yday - 15) / 365.25 * 2 * np.pi for day in days])
    found = []
    for place in range(LOCATIONS):
        location = build_location(f"place {place}", latitude=41.0 + 0.02 * place)
        eto = np.maximum((4.0 - 3.0 * np.cos(turn)) * rng.lognormal(0, 0.15, turn.size), 0.1)
        rain = np.where(rng.random(turn.size) < 0.15, rng.gamma(1.0, 6.0, turn.size), 0.0)
        DailyWeather.objects.bulk_create(
            DailyWeather(
                location=location, day=day, issued=day, source="test", eto_sd_mm=0.3, rain_sd_mm=0.1,
                fetched_at=datetime(2026, 6, 1, tzinfo=UTC), eto_mm=eto[k], rain_used_mm=rain[k],
            )
            for k, day in enumerate(days)
        )  # fmt: skip
        found.append(location.pk)
    return found


Row = TypeVar("Row", Site, Controller, Zone)


def copies(one: Row, count: int, **columns: object) -> Iterator[Row]:
    """Unsaved copies of a row; a column may be a list of values, one a copy."""
    given = {field.attname: getattr(one, field.attname) for field in one._meta.concrete_fields}
    del given["id"]
    for place in range(count):
        own = {name: part[place] if isinstance(part, list) else part for name, part in columns.items()}
        yield type(one)(**{**given, **own})


def gardens(count: int) -> None:
    """Gardens with six zones, four fifths with a sensor in the third year, and five years of bills."""
    rng = np.random.default_rng(2)
    places = weather()
    first = build_site("N0-00000", supplier="Wend Valley Water", location_id=places[0])
    controller = build_controller(first)
    zone = build_zone(controller)
    more = list(range(1, count))
    Site.objects.bulk_create(
        copies(
            first,
            count - 1,
            code=[f"N{k % 40}-{k:05d}" for k in more],
            location_id=[places[k % LOCATIONS] for k in more],
            soil=[("clay_loam", "sandy_loam", "loam")[k % 3] for k in more],
        )
    )
    ids = list(Site.objects.order_by("code").values_list("pk", flat=True))
    Controller.objects.bulk_create(copies(controller, count - 1, site_id=ids[1:]))
    timers = list(Controller.objects.order_by("pk").values_list("pk", flat=True))
    rest = [(timer, station) for timer in timers for station in range(1, ZONES_EACH + 1)]
    rest.remove((controller.pk, zone.station))
    Zone.objects.bulk_create(
        copies(
            zone,
            len(rest),
            controller_id=[timer for timer, _ in rest],
            station=[station for _, station in rest],
            area_m2=rng.lognormal(4.0, 0.5, len(rest)).tolist(),
            distribution_uniformity=rng.uniform(0.5, 0.8, len(rest)).tolist(),
        ),
        batch_size=2_000,
    )
    changed = np.arange(count) % 5 > 0
    days = rng.integers(0, 300, count)
    Sensor.objects.bulk_create(
        Sensor(
            controller_id=timer, station=1, installed_on=date(2023, 7, 1) + timedelta(days=int(days[place]))
        )
        for place, timer in enumerate(timers)
        if changed[place]
    )
    Meter.objects.bulk_create(Meter(site_id=pk, code="", kind="irrigation") for pk in ids)
    bills(ids, changed, rng)


def bills(
    ids: list[int], changed: np.ndarray[tuple[int], np.dtype[np.bool_]], rng: np.random.Generator
) -> None:
    """Monthly volumes: what was needed, twice as it should be, less after the sensor."""
    need = need_of_sites(site_ids=ids, since=FIRST, until_day=UNTIL)
    assert need is not None
    edges = np.arange("2021-06", "2026-07", dtype="datetime64[M]").astype("datetime64[D]")
    place = np.arange(len(ids))
    meters = dict(Meter.objects.values_list("site_id", "pk"))
    saves = changed * rng.uniform(0.1, 0.3, len(ids))
    for start, end in pairwise(edges):
        needed = need.between(place, np.full(place.shape, start), np.full(place.shape, end))
        after = start >= np.datetime64("2023-07-01")
        litres = (60.0 * float((end - start).astype(int)) + 1.3 * needed * (1.0 - saves * after)) * (
            rng.lognormal(0, 0.12, place.size)
        )
        upsert_rows(
            model=MeterVolume,
            key=("meter_id", "start"),
            columns=("meter_id", "start", "end", "volume_l", "volume_given", "unit"),
            rows=[
                [meters[pk], str(start), str(end), volume, volume, "l"]
                for pk, volume in zip(ids, litres.tolist(), strict=True)
            ],
        )


def night(words: str) -> None:
    """One update, with its time and memory."""
    began, work = time.perf_counter(), time.process_time()
    update = update_ledger(until_day=UNTIL)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    sys.stdout.write(
        f"ledger, {words}: {time.perf_counter() - began:.1f} s ({time.process_time() - work:.1f} s of "
        f"processor), {update.written} garden-months written, peak {peak_mb:.0f} MB\n"
    )


@pytest.mark.benchmark
@pytest.mark.parametrize("count", [1_000, 10_000])
def test_nights_and_pages(count: int, company: Company, manager: User, client: Client) -> None:
    Tariff.objects.create(
        supplier="Wend Valley Water", starts_on=FIRST, tier_from_m3=0.0, price_per_m3=2.0, currency="USD"
    )
    gardens(count)
    sys.stdout.write(f"\n{count} gardens, {MeterVolume.objects.count()} bills\n")
    night("from nothing")
    night("nothing new")
    newest = MeterVolume.objects.order_by("-start").values_list("start", flat=True)[0]
    some = MeterVolume.objects.filter(start=newest, meter__site__code__endswith="03")
    some.update(volume_l=F("volume_l") * 1.1)
    night(f"{some.count()} gardens with a new bill")
    client.force_login(manager)
    for page in PAGES:
        times = []
        for _ in range(5):
            began = time.perf_counter()
            response = client.get(page)
            times.append(time.perf_counter() - began)
            assert response.status_code == 200
        sys.stdout.write(f"{page}: {sorted(times)[2] * 1000:.0f} ms, slowest {max(times) * 1000:.0f} ms\n")
    assert LedgerMonth.objects.filter(saved_l__isnull=False).exists()
