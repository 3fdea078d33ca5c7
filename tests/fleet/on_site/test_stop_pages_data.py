"""What the week's board, the needs list and a technician's stop show, and what moves and findings change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Company, Finding, Flag, Route, Stop, Technician, Visit, VisitNeed
from fleet.selectors.on_site.stop_sheet import stop_sheet
from fleet.selectors.plan.board import route_lines, week_board
from fleet.selectors.plan.technician_days import technician_day
from fleet.selectors.visits.need_rows import needs_week
from fleet.services.on_site.findings import BadFinding, FindingInput, record_finding
from fleet.services.on_site.stop_states import UnknownStopState, set_stop_state
from fleet.services.plan.plan_routes import plan_routes
from fleet.services.plan.routes_by_hand import (
    CannotMove,
    lock_stop,
    move_stop,
    publish_routes,
    withdraw_routes,
)
from fleet.services.visits.raise_needs import raise_needs
from sites.models import Controller, ProgramSet, Recommendation, RecommendationLine, Sensor
from tests.factories import (
    DAY,
    build_controller,
    build_need,
    build_sensor,
    build_site,
    build_technician,
    build_zone,
)

pytestmark = pytest.mark.django_db
EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
NOON = datetime(2026, 6, 15, 18, 0, tzinfo=UTC)


def planned_week(count: int = 5) -> None:
    build_technician("T1")
    build_technician("T2", name="Tomas Rudd", workdays="mon,tue,wed,thu", skills="audit")
    for number in range(count):
        build_need(build_site(f"CB-{number:02}", longitude=-104.7 + 0.01 * (number + 1)))
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)


def flagged_stop() -> Stop:
    """A stop at a site whose sensor is flagged and whose program changes."""
    site = build_site(gate_code="4471", access_notes="Side gate on the drive", phone="555 0100")
    controller = build_controller(site)
    build_zone(controller, 1)
    build_sensor(controller, threshold_steps_kpa="30;40;50")
    Flag.objects.create(
        controller=controller, cause="reads_wet", raised_on=DAY, probability=0.9, evidence="38 of 40"
    )
    row = Recommendation.objects.create(
        controller=controller, week=DAY, is_change=True, computed_on=DAY, status="accepted"
    )
    RecommendationLine.objects.create(
        recommendation=row,
        letter="A",
        days="odd",
        starts="03:00;04:40",
        station=1,
        run_min=11,
        run_order=1,
    )
    build_technician("T1")
    raise_needs(day=DAY)
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)
    return Stop.objects.get(is_break=False)


def test_the_board_holds_every_technicians_week_with_breaks_and_the_way_back(company: Company) -> None:
    planned_week()

    board = week_board(week=DAY)

    assert [row.technician for row in board.rows] == ["T1", "T2"]
    assert len(board.rows[0].days) == 7
    used = [day for row in board.rows for day in row.days if day.stops]
    assert sum(day.visits for day in used) == 5
    assert all(day.stops[-1].what == "back" for day in used)
    assert board.rows[1].days[4].off_words == "not at work on Friday"
    assert board.plan is not None
    assert board.plan.is_estimated
    assert board.can_undo


def test_the_board_takes_the_same_number_of_queries_for_many_stops(company: Company) -> None:
    planned_week(2)
    with CaptureQueriesContext(
        connection,
    ) as few:
        week_board(week=DAY)
    for number in range(8):
        build_need(build_site(f"QT-{number:02}", longitude=-104.7 - 0.01 * (number + 1)))
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=30)

    with CaptureQueriesContext(connection) as many:
        week_board(week=DAY)

    assert len(many) == len(few)


def test_waiting_needs_stand_first_and_say_why(company: Company) -> None:
    build_need(build_site("ZZ", longitude=-104.69), kind="repair", skill="drip", value_per_day=1)
    planned_week(3)

    week = needs_week(week=DAY)

    assert (week.gardens, week.gardens_planned, week.gardens_waiting) == (4, 3, 1)
    assert week.rows[0].site == "ZZ"
    assert week.rows[0].unserved_code == "no_skill"
    assert week.rows[1].planned is not None
    assert week.rows[1].planned.technician in ("T1", "T2")


def test_route_lines_start_at_home_and_are_marked_as_estimated(company: Company) -> None:
    planned_week(2)

    lines = route_lines(week=DAY)

    assert lines[0].coordinates[0] == (-104.7, 41.2)
    assert lines[0].is_estimated
    with pytest.raises(ValueError, match="one of them"):
        route_lines()


def test_a_stop_sheet_tells_why_how_to_get_in_what_to_check_and_what_to_key_in(company: Company) -> None:
    stop = flagged_stop()

    sheet = stop_sheet(stop_id=stop.pk)

    assert sheet is not None
    assert (sheet.gate_code, sheet.number, sheet.of) == ("4471", 1, 1)
    assert {reason.kind for reason in sheet.reasons} == {"sensor_check", "program_change", "log_missing"}
    watch = next(reason for reason in sheet.reasons if reason.kind == "sensor_check")
    assert (watch.flag_cause, watch.evidence) == ("reads_wet", "38 of 40")
    assert [check.code for check in watch.checks][:3] == ["blocking", "soil_feel", "resistance_kohm"]
    # What two reasons ask of the same controller stands once.
    codes = [check.code for reason in sheet.reasons for check in reason.checks]
    assert codes.count("clock") == codes.count("turf") == 1
    changes = {line.label: (line.old, line.new) for line in sheet.programs[0].lines if line.is_change}
    assert changes["A start 2"] == ("off", "04:40")
    assert changes["A station 1, zone 1"] == ("off", "11 min")
    assert sheet.cautions[-1].startswith("Local codes")
    assert sheet.may_dig is None
    assert sheet.sensors[0].threshold_steps_kpa == (30.0, 40.0, 50.0)


def test_the_technicians_day_knows_the_next_stop(company: Company) -> None:
    planned_week()
    route = Route.objects.get(stops__visit__site__code="CB-00")
    stops = list(route.stops.filter(is_break=False).order_by("order"))
    set_stop_state(stop_id=stops[0].pk, state="finished", at=stops[0].depart)

    day = technician_day(technician_id=route.technician_id, day=route.day)

    assert day is not None
    assert day.done == 1
    assert day.next_stop_id == (stops[1].pk if len(stops) > 1 else None)
    assert technician_day(technician_id=999, day=DAY) is None


def test_a_stop_never_goes_back_to_an_earlier_state(company: Company) -> None:
    planned_week(1)
    stop = Stop.objects.get(is_break=False)

    assert set_stop_state(stop_id=stop.pk, state="finished", at=NOON).changed
    assert not set_stop_state(stop_id=stop.pk, state="on_the_way", at=NOON).changed
    assert not set_stop_state(stop_id=stop.pk, state="finished", at=NOON).changed
    assert Visit.objects.get().state == "done"
    with pytest.raises(UnknownStopState):
        set_stop_state(stop_id=stop.pk, state="asleep", at=NOON)


def test_a_move_by_hand_is_priced_before_it_is_made(company: Company) -> None:
    planned_week()
    visit = Visit.objects.get(site__code="CB-04")
    other = Technician.objects.get(code="T2")
    wednesday = DAY + timedelta(days=2)

    tried = move_stop(visit_id=visit.pk, technician_id=other.pk, day=wednesday, now=EARLY, try_only=True)
    assert not tried.written
    assert tried.extra_cost > 0
    assert Stop.objects.get(visit=visit).route.day != wednesday
    moved = move_stop(visit_id=visit.pk, technician_id=other.pk, day=wednesday, now=EARLY)

    assert moved.extra_cost == tried.extra_cost
    stop = Stop.objects.get(visit=visit)
    assert (stop.route.technician, stop.route.day) == (other, wednesday)
    assert Stop.objects.filter(is_break=False).count() == 5


def test_moves_that_cannot_be_are_refused_in_words(company: Company) -> None:
    planned_week()
    visit = Visit.objects.get(site__code="CB-04")
    other = Technician.objects.get(code="T2")
    with pytest.raises(CannotMove, match="not at work"):
        move_stop(visit_id=visit.pk, technician_id=other.pk, day=DAY + timedelta(days=4), now=EARLY)
    with pytest.raises(CannotMove, match="within its week"):
        move_stop(visit_id=visit.pk, technician_id=other.pk, day=DAY + timedelta(days=7), now=EARLY)
    Visit.objects.filter(pk=visit.pk).update(skill="backflow")
    with pytest.raises(CannotMove, match="backflow"):
        move_stop(visit_id=visit.pk, technician_id=other.pk, day=DAY, now=EARLY)
    Visit.objects.filter(pk=visit.pk).update(skill="", service_min=900)
    with pytest.raises(CannotMove, match="does not fit"):
        move_stop(visit_id=visit.pk, technician_id=other.pk, day=DAY, now=EARLY)
    set_stop_state(stop_id=Stop.objects.get(visit=visit).pk, state="at_the_gate", at=NOON)
    with pytest.raises(CannotMove, match="under way"):
        move_stop(visit_id=visit.pk, technician_id=other.pk, day=DAY, now=EARLY)


def test_locks_and_publishing_are_marks(company: Company) -> None:
    planned_week(1)
    visit = Visit.objects.get()

    assert lock_stop(visit_id=visit.pk, is_locked=True).changed == 1
    routes = Route.objects.filter(day=DAY).count()
    assert publish_routes(days=[DAY]).changed == routes
    assert withdraw_routes(days=[DAY]).changed == routes
    assert withdraw_routes(days=[DAY]).changed == 0


def test_a_route_under_way_stays_published(company: Company) -> None:
    planned_week(1)
    publish_routes(days=[DAY])
    set_stop_state(stop_id=Stop.objects.get(visit__isnull=False).pk, state="on_the_way", at=NOON)

    assert withdraw_routes(days=[DAY]).changed == 0


def test_a_confirmed_finding_closes_flag_and_need_and_sets_the_threshold(company: Company) -> None:
    stop = flagged_stop()
    need = VisitNeed.objects.get(kind="sensor_check")
    finding = FindingInput(
        client_key="k1",
        stop_id=stop.pk,
        need_id=need.pk,
        recorded_at=NOON,
        verdict="confirmed",
        cause="reads_wet",
        resistance_kohm=0.4,
        threshold_kpa=30.0,
        turf="evenly_dry",
        answers={"soil_feel": "wet_here"},
    )

    done = record_finding(finding=finding, by="ines")
    again = record_finding(finding=finding, by="ines")
    # What was seen of the turf waits in the book for the threshold advice.
    assert Sensor.objects.get().turf_seen == "evenly_dry"

    flag = Flag.objects.get()
    assert (flag.closed_by, flag.truth) == ("finding", "confirmed")
    need.refresh_from_db()
    assert need.state == "done"
    assert Sensor.objects.get().threshold_kpa == 30.0
    assert done.need_closed
    assert done.flag_closed
    assert (again.is_new, Finding.objects.count()) == (False, 1)
    raise_needs(day=DAY + timedelta(days=1))
    assert not VisitNeed.objects.filter(kind="sensor_check", state="open").exists()


def test_a_program_keyed_in_stands_in_the_book_from_the_day_of_the_visit(company: Company) -> None:
    stop = flagged_stop()
    need = VisitNeed.objects.get(kind="program_change")

    record_finding(
        finding=FindingInput(
            client_key="k2", stop_id=stop.pk, need_id=need.pk, recorded_at=NOON, program_keyed_in=True
        ),
        by="ines",
    )

    kept = ProgramSet.objects.get(controller=Controller.objects.get())
    assert (kept.as_of, kept.origin) == (stop.route.day, "keyed_in")
    assert [(line.letter, line.station, line.run_min) for line in kept.lines.all()] == [("A", 1, 11.0)]
    assert Recommendation.objects.get().status == "keyed_in"


def test_a_follow_up_becomes_a_need_and_an_unmet_need_stays_open(company: Company) -> None:
    stop = flagged_stop()
    need = VisitNeed.objects.get(kind="sensor_check")

    record_finding(
        finding=FindingInput(
            client_key="k3",
            stop_id=stop.pk,
            need_id=need.pk,
            recorded_at=NOON,
            need_is_met=False,
            follow_up="bring 15 m of wire",
        ),
        by="ines",
    )

    need.refresh_from_db()
    assert need.state == "open"
    assert VisitNeed.objects.get(origin="finding").reason == "Follow-up: bring 15 m of wire"


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"verdict": "maybe"}, "verdict"),
        ({"cause": "gremlins"}, "cause"),
        ({"resistance_kohm": -1.0}, "resistance_kohm"),
        ({"resistance_kohm": float("nan")}, "resistance_kohm"),
        ({"client_key": ""}, "client_key"),
    ],
)
def test_a_finding_with_nonsense_names_its_field(wrong: dict[str, object], words: str) -> None:
    given: dict[str, object] = {"client_key": "k", "stop_id": 1, "recorded_at": NOON, **wrong}

    with pytest.raises(BadFinding, match=words):
        FindingInput(**given)  # type: ignore[arg-type]


def test_a_threshold_that_the_unit_does_not_offer_is_refused_and_nothing_is_kept(company: Company) -> None:
    stop = flagged_stop()
    need = VisitNeed.objects.get(kind="sensor_check")

    with pytest.raises(BadFinding, match="offers 30, 40, 50"):
        record_finding(
            finding=FindingInput(
                client_key="k", stop_id=stop.pk, need_id=need.pk, recorded_at=NOON, threshold_kpa=45.0
            ),
            by="ines",
        )

    assert Finding.objects.count() == 0
