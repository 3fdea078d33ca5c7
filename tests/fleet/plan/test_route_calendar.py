"""Routes as a calendar, read back by the icalendar library; route sheet, CSV and GeoJSON of the pages."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.calc.ical import LONGEST_OCTETS, Event, calendar_text, escape, fold
from fleet.exports.calendar import routes_calendar, visit_uid
from fleet.models import Company, Route, Stop, Technician, User, Visit
from fleet.services.plan.plan_routes import plan_routes, undo_plan
from fleet.services.plan.routes_by_hand import move_stop, publish_routes
from sites.models import Site
from tests.factories import DAY, build_need, build_site, build_technician

EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
DENVER = ZoneInfo("America/Denver")
TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc")) | st.sampled_from("\n,;\\"), max_size=200)


def event(**other: object) -> Event:
    start = datetime(2026, 6, 15, 9, 0, tzinfo=DENVER)
    given_: dict[str, object] = {
        "uid": "one",
        "sequence": 0,
        "stamp": EARLY,
        "start": start,
        "end": start + timedelta(hours=1),
        "summary": "CB-01",
        **other,
    }
    return Event(**given_)  # type: ignore[arg-type]


def read(text: str) -> list[Any]:
    """The entries; what the library gives for a property has many types."""
    calendar: Any = icalendar.Calendar.from_ical(text)
    return list(calendar.walk("VEVENT"))


@settings(max_examples=60, deadline=None)
@given(TEXT)
def test_any_text_comes_back_and_no_line_is_too_long(text: str) -> None:
    written = calendar_text(name=text, events=[event(summary=text, description=text)])

    assert str(read(written)[0]["SUMMARY"]) == text
    assert str(read(written)[0].get("DESCRIPTION", "")) == text
    assert written.endswith("\r\n")
    for line in written.split("\r\n"):
        assert len(line.encode()) <= LONGEST_OCTETS


def test_texts_and_lines_are_written_as_the_standard_shows() -> None:
    assert escape("a,b;c\\d\r\ne\x07") == "a\\,b\\;c\\\\d\\ne"
    assert fold("x" * 76) == "x" * 75 + "\r\n x"
    assert fold("é" * 38).split("\r\n")[0] == "é" * 37  # 74 octets: a character is not cut


@pytest.mark.parametrize(
    "wall",
    [
        "2026-03-08T01:30",  # before the clock goes forward
        "2026-03-08T03:00",  # after it
        "2026-11-01T00:30",
        "2026-11-01T01:30",  # the first of two
        "2026-11-01T01:30 again",  # the second
        "2026-11-01T12:00",
        "2026-01-15T08:00",
    ],
)
@pytest.mark.parametrize("zone", ["America/Denver", "America/Phoenix", "Australia/Lord_Howe"])
def test_days_on_which_clocks_change_come_back_to_the_second(wall: str, zone: str) -> None:
    text, _, again = wall.partition(" ")
    start = datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone), fold=1 if again else 0)
    end = (start.astimezone(UTC) + timedelta(hours=2)).astimezone(ZoneInfo(zone))

    back = read(calendar_text(name="x", events=[event(start=start, end=end)]))[0]

    assert back["DTSTART"].dt.astimezone(UTC) == start.astimezone(UTC)
    assert back["DTEND"].dt.astimezone(UTC) == end.astimezone(UTC)


@pytest.mark.parametrize("zone", ["America/Denver", "Europe/Berlin"])
def test_the_written_time_zone_alone_tells_the_offset_through_the_year(zone: str) -> None:
    there = ZoneInfo(zone)
    first, last = datetime(2026, 1, 5, 9, tzinfo=there), datetime(2026, 12, 5, 9, tzinfo=there)
    ends = [event(start=first, end=first), event(uid="b", start=last, end=last)]
    text = calendar_text(name="x", events=ends)
    calendar: Any = icalendar.Calendar.from_ical(text)
    part = calendar.walk("VTIMEZONE")[0]

    written = part.to_tz(lookup_tzid=False)

    for day in range(0, 330, 7):
        at = first + timedelta(days=day)
        assert at.replace(tzinfo=written).utcoffset() == at.utcoffset(), at


@pytest.fixture
def week(company: Company) -> None:
    build_technician("T1")
    build_technician("T2", name="Tomas Rudd")
    for n in range(4):
        build_need(build_site(f"CB-{n:02}", longitude=-104.7 + 0.01 * (n + 1), latitude=41.2))
    Site.objects.update(
        gate_code="4711-secret",
        access_notes="key under the pot",
        phone="555-0100",
        customer="Okafor",
        address="12 Elm St; rear, gate\nleft",
    )
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)


@pytest.mark.django_db
@pytest.mark.usefixtures("week")
def test_every_visit_stands_in_the_calendar_at_its_time_and_nothing_private_does() -> None:
    text, count = routes_calendar(start=DAY, end=DAY + timedelta(days=7))

    events = {str(one["UID"]): one for one in read(text)}
    stops = list(Stop.objects.filter(is_break=False))
    assert count == len(events) == len(stops) == 4
    for stop in stops:
        one = events[visit_uid(visit_id=stop.visit_id or 0, company=Company.objects.get().name)]
        assert abs(one["DTSTART"].dt - stop.arrive) < timedelta(seconds=1)
        assert abs(one["DTEND"].dt - stop.depart) < timedelta(seconds=1)
        assert str(one["LOCATION"]) == "12 Elm St; rear, gate\nleft"
        assert str(one["STATUS"]) == "TENTATIVE"
        assert one["GEO"].latitude == pytest.approx(41.2)
    for secret in ("4711", "under the pot", "555-0100", "Okafor"):
        assert secret not in text.replace("\r\n ", "")


@pytest.mark.django_db
@pytest.mark.usefixtures("week")
def test_the_sequence_counts_what_changed_and_nothing_else() -> None:
    def sequences() -> dict[str, int]:
        text, _ = routes_calendar(start=DAY, end=DAY + timedelta(days=7))
        return {str(one["UID"]): int(one["SEQUENCE"]) for one in read(text)}

    first = sequences()
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    assert sequences() == first
    visit = Visit.objects.order_by("pk")[0]
    other = Technician.objects.exclude(routes__stops__visit=visit).get()
    day = DAY + timedelta(days=4)
    move_stop(visit_id=visit.pk, technician_id=other.pk, day=day, now=EARLY + timedelta(minutes=1))
    moved = sequences()
    uid = visit_uid(visit_id=visit.pk, company=Company.objects.get().name)
    assert moved[uid] == first[uid] + 1
    undo_plan(week=DAY, now=EARLY + timedelta(minutes=2))
    assert sequences()[uid] == moved[uid] + 1
    assert set(sequences()) == set(first)


@pytest.mark.django_db
@pytest.mark.usefixtures("week")
def test_the_office_takes_a_week_the_technician_the_own_day(client: Client) -> None:
    Technician.objects.filter(code="T2").update(user=User.objects.create_user("tomas", role="technician"))
    own = Stop.objects.filter(is_break=False, route__technician__code="T2", route__day=DAY).count()
    publish_routes(days=[DAY])
    client.force_login(User.objects.create_user("hana", role="dispatcher"))

    answer = client.get(reverse("fleet:routes-ics"), {"week": DAY.isoformat()})
    csv = client.get(reverse("fleet:routes-csv"), {"week": DAY.isoformat()}).content.decode()
    shapes = client.get(reverse("fleet:routes-geojson"), {"date": DAY.isoformat(), "technician": "T1"}).json()

    assert answer["Content-Type"].startswith("text/calendar")
    assert len(read(answer.content.decode())) == 4
    assert "CONFIRMED" in answer.content.decode()
    assert "4711" not in csv
    assert {one["properties"]["technician"] for one in shapes["features"]} <= {"T1"}
    client.force_login(User.objects.get(username="tomas"))
    mine = client.get(reverse("fleet:routes-ics"), {"week": DAY.isoformat(), "technician": "T1"})
    assert len(read(mine.content.decode())) == own
    later = {"date": (DAY + timedelta(days=30)).isoformat()}
    assert client.get(reverse("fleet:routes-ics"), later).status_code == 404
    assert client.get(reverse("fleet:route-sheet"), later).status_code == 404


@pytest.mark.django_db
@pytest.mark.usefixtures("week")
def test_the_sheet_has_a_map_numbers_geo_links_and_no_code(client: Client) -> None:
    client.force_login(User.objects.create_user("hana", role="dispatcher"))

    page = client.get(reverse("fleet:route-sheet"), {"date": DAY.isoformat()}).content.decode()

    stops = Stop.objects.filter(is_break=False, route__day=DAY).count()
    assert page.count('class="rm-stop"') == stops > 0
    assert page.count('href="geo:41.200000,-104.') == stops
    assert page.count("<article") == Route.objects.filter(day=DAY).count()
    assert "straight distances" in page
    for secret in ("4711", "under the pot", "555-0100"):
        assert secret not in page
    empty = client.get(reverse("fleet:route-sheet"), {"date": "2026-01-05"}).content.decode()
    assert "No route on this day." in empty


@pytest.mark.django_db
@pytest.mark.usefixtures("week")
def test_the_command_writes_a_calendar_and_refuses_other_kinds(tmp_path: Path) -> None:
    path = tmp_path / "week.ics"
    words = ["--week", "2026-06-15", "--format", "ics", "--output", str(path)]
    call_command("export", "routes", *words, stdout=StringIO())

    assert len(read(path.read_bytes().decode())) == 4
    with pytest.raises(Exception, match="is no calendar"):
        call_command("export", "needs", "--format", "ics", stdout=StringIO())


def test_a_day_in_the_calendar_does_not_depend_on_the_machines_clock() -> None:
    assert calendar_text(name="x", events=[event()]) == calendar_text(name="x", events=[event()])
    assert date(2026, 6, 15) == DAY
