"""The survey: what is known, assumed, missing; and answers that go into the book with history."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User
from sites.calc.audit.survey_parts import State
from sites.models import Change, Controller, Fixture, Sensor, Site, ValveBox, Zone
from sites.selectors.survey import survey_of
from tests.conftest import DAY
from tests.factories import build_controller, build_sensor, build_site, build_zone

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]


@pytest.fixture
def bare(company: Company) -> Site:
    """A site as somebody phoned it in: a name and a place."""
    return Site.objects.create(
        code="ZZ-01",
        name="Bare",
        timezone="America/Denver",
        imported_on=DAY,
        longitude=-104.7,
        latitude=41.2,
    )


@pytest.fixture
def answer(dispatcher: User, sign_in: SignIn) -> Callable[..., Any]:
    """Send an answer as the page's script does; gives back the JSON."""
    client = sign_in(dispatcher)

    def send(code: str = "ZZ-01", **fields: Any) -> Any:
        address = reverse("fleet:survey-answer", args=[code])
        return client.post(address, fields, headers={"accept": "application/json"}).json()

    return send


def test_a_bare_site_misses_nearly_everything(bare: Site, dispatcher: User, sign_in: SignIn) -> None:
    found = survey_of(site=bare)
    page = sign_in(dispatcher).get(reverse("fleet:survey", args=["ZZ-01"])).content.decode()

    assert found.steps[2].lacks == ("a controller",)
    assert found.steps[3].lacks == ("the zones",)
    assert "the backflow preventer" in found.steps[5].lacks
    assert f"<b>{found.missing} missing</b>" in page
    assert " style=" not in page


def test_a_survey_fills_an_empty_site_until_nothing_is_missing(
    bare: Site, answer: Callable[..., Any], dispatcher: User
) -> None:
    here = {"longitude": "-104.7001", "latitude": "41.2001"}
    assert answer(kind="site", customer="T. Okafor", phone="555 0100", address="9 Kiln Lane",
                  access_notes="Gate on the left", soil="loam", slope_pct="2", supplier="Ford Water",
                  rule_set="FORD")["refused"] == {}  # fmt: skip
    assert answer(kind="controller", key="A", station_count="4", **here)["is_new"]
    assert answer(kind="controller", key="A", program_count="3", starts_per_program="4", max_run_min="240",
                  minute_step="1", day_modes="weekdays,odd", station_order="free", stations_at_once="2",
                  flow_limit_l_min="45",
                  gating="at_start")["refused"] == {}  # fmt: skip
    assert answer(kind="zone", key=["A", "1"], plant="cool_turf", head="rotor", area_m2="80")["is_new"]
    assert answer(kind="zone", key=["A", "1"], root_depth_mm="150")["saved"] == ["root_depth_mm"]
    assert answer(kind="sensor", key="A", station="1", depth_mm="100", threshold_steps_kpa="20;40",
                  threshold_kpa="40", installed_on="2026-05-01", **here)["is_new"]  # fmt: skip
    assert answer(kind="valve_box", key="north", spare_wires="2", **here)["is_new"]
    for kind in ("water_meter", "shutoff", "backflow_preventer"):
        assert answer(kind=kind, note="blue tag", **here)["is_new"]

    found = survey_of(site=Site.objects.get(pk=bare.pk))
    assert [step.lacks for step in found.steps if step.lacks] == [
        ("what is set on controller A: read it off",)
    ]
    assert sum(thing.missing for step in found.steps for thing in step.things) == 0
    # A sensor that stands there governs its timer.
    assert Controller.objects.get(code="A").governed
    assert Fixture.objects.count() == 3
    assert {change.reason for change in Change.objects.all()} == {"survey"}
    assert {change.by for change in Change.objects.all()} == {dispatcher.username}


def test_one_answer_changes_one_field_and_history_says_from_what_to_what(
    company: Company, answer: Callable[..., Any]
) -> None:
    build_controller(build_site(), assumed="station_order gating")

    told = answer("CB-14", kind="controller", key="A", station_order="free")

    row = Controller.objects.get()
    assert told["saved"] == ["station_order"]
    assert (row.station_order, row.assumed, row.station_count) == ("free", "gating", 6)
    change = Change.objects.get()
    assert change.before == {"station_order": "numeric", "assumed": "station_order gating"}


def test_confirming_an_assumed_value_makes_it_known(company: Company, answer: Callable[..., Any]) -> None:
    build_controller(build_site(), assumed="max_run_min")

    untouched = {"max_run_min": "240", "was-max_run_min": "240"}

    answer("CB-14", kind="controller", key="A", **untouched)
    assert Controller.objects.get().assumed == "max_run_min"
    answer("CB-14", kind="controller", key="A", confirm="max_run_min", **untouched)

    assert Controller.objects.get().assumed == ""


@pytest.mark.parametrize(
    ("fields", "column", "words"),
    [
        ({"kind": "site", "slope_pct": "steep"}, "slope_pct", "a number from 0"),
        ({"kind": "site", "visit_from": "17:00", "visit_to": "09:00"}, "visit_to", "hours in order"),
        ({"kind": "controller", "key": "A", "station_count": "1"}, "station_count", "at least 2"),
        ({"kind": "zone", "key": ["A", "1"], "area_m2": "12"}, "area_m2", "it follows the shape"),
        ({"kind": "zone", "key": ["A", "1"], "plant": ""}, "plant", "a value"),
        ({"kind": "sensor", "key": "A", "threshold_kpa": "8"}, "threshold_kpa", "more than 10"),
        ({"kind": "sensor", "key": "A", "threshold_kpa": "33"}, "threshold_kpa", "20, 40"),
        ({"kind": "sensor", "key": "A", "station": "5"}, "station", "has a zone"),
        ({"kind": "sensor", "key": "A", "installed_on": "2027-01-01"}, "installed_on", "a day up to"),
    ],
)
def test_what_contradicts_the_book_is_refused_with_what_was_expected(
    company: Company, answer: Callable[..., Any], fields: dict[str, Any], column: str, words: str
) -> None:
    controller = build_controller(build_site())
    build_zone(controller, 1)
    build_zone(controller, 2)
    build_sensor(controller, threshold_steps_kpa="20;40")

    told = answer("CB-14", **fields)

    assert words in told["refused"][column]
    assert Change.objects.count() == 0


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": "rocket"}, "says nothing"),
        ({"kind": "zone", "key": ["B", "1"], "plant": "shrubs"}, "none of site"),
        ({"kind": "zone", "key": ["A", "9"], "plant": "shrubs"}, "up to 6"),
        ({"kind": "zone", "key": ["A", "3"], "plant": "shrubs", "head": "rotor"}, "area"),
        ({"kind": "zone", "key": ["A"]}, "is named by"),
        ({"kind": "controller", "key": "B"}, "station count"),
        ({"kind": "controller", "key": "a/b", "station_count": "3"}, "a code"),
        ({"kind": "valve_box", "key": "north"}, "where it stands"),
        ({"kind": "shutoff", "longitude": "-104", "latitude": "41.2"}, "km from the garden"),
        ({"kind": "shutoff", "longitude": "x", "latitude": "1"}, "in degrees"),
        ({"kind": "shutoff", "longitude": "nan", "latitude": "1"}, "-180"),
    ],
)
def test_a_thing_that_cannot_be_is_not_written(
    company: Company, answer: Callable[..., Any], fields: dict[str, Any], words: str
) -> None:
    build_controller(build_site())

    told = answer("CB-14", **fields)

    assert words in told["problem"]
    assert (Change.objects.count(), Zone.objects.count(), ValveBox.objects.count()) == (0, 0, 0)


def test_a_us_reader_answers_in_inches_and_an_unchanged_box_changes_nothing(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    User.objects.filter(pk=dispatcher.pk).update(units="us")
    build_zone(build_controller(build_site()), 1, root_depth_mm=150.0)
    client, address = sign_in(dispatcher), reverse("fleet:survey-answer", args=["CB-14"])
    page = client.get(reverse("fleet:survey", args=["CB-14"])).content.decode()
    assert 'name="was-root_depth_mm" value="5.9"' in page

    client.post(
        address, {"kind": "zone", "key": ["A", "1"], "root_depth_mm": "5.9", "was-root_depth_mm": "5.9"}
    )
    assert Zone.objects.get().root_depth_mm == 150.0
    client.post(
        address, {"kind": "zone", "key": ["A", "1"], "root_depth_mm": "8", "was-root_depth_mm": "5.9"}
    )

    assert Zone.objects.get().root_depth_mm == pytest.approx(203.2)


def test_without_script_the_form_comes_back_with_words(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    build_sensor(build_controller(build_site()))
    address = reverse("fleet:survey-answer", args=["CB-14"])

    page = sign_in(dispatcher).post(
        address, {"kind": "site", "soil": "sand", "slope_pct": "x", "back": "ground"}, follow=True
    )

    assert "Saved in the book: soil" in page.content.decode()
    assert "slope pct was not saved" in page.content.decode()
    assert page.redirect_chain[0][0].endswith("#ground")
    assert Sensor.objects.get().station == 1


def test_values_of_the_zone_table_are_told_assumed(company: Company) -> None:
    site = build_site()
    build_zone(build_controller(site), 1)

    zone = survey_of(site=site).steps[3].things[0]

    states = {item.column: item.state for item in zone.items}
    assert states["root_depth_mm"] == State.ASSUMED
    assert states["distribution_uniformity"] == State.ASSUMED
    assert states["plant"] == State.KNOWN
    assert "area_m2" not in states  # it is drawn


def test_a_stranger_surveys_nothing(bare: Site, stranger: User, sign_in: SignIn) -> None:
    client = sign_in(stranger)

    assert client.get(reverse("fleet:survey", args=["ZZ-01"])).status_code == 404
    assert client.post(reverse("fleet:survey-answer", args=["ZZ-01"]), {"kind": "site"}).status_code == 404
