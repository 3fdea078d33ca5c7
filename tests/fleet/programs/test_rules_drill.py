"""The watering-ban drill; and nothing outside permitted hours is issued without a written reason."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, StageRun, User
from sites.models import (
    Change,
    Controller,
    ProgramLine,
    ProgramSet,
    Recommendation,
    RecommendationLine,
    RuleSet,
    RuleStage,
)
from sites.selectors.program_rules import recommendation_breaks, set_program_breaks_under
from sites.selectors.rules import RuleSetContent, rule_set_content
from sites.services.balance import update_balance
from sites.services.edit_rules import switch_stage
from sites.services.program_by_hand import ReasonNeeded
from sites.services.programs import decide_program, decide_programs, reopen_outside_programs
from sites.services.rule_drill import Drill, run_drill
from sites.services.weekly_round import weekly_round
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from weather.models import DailyWeather, Location

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 15, 13, 30, tzinfo=UTC)
WEEK = date(2026, 6, 15)
NIGHTS: dict[str, Any] = {"name": "nights", "windows": ["20:00-10:00"], "window_day": "calendar"}
TWO_DAYS: dict[str, Any] = {"name": "two days", "weekdays": ["wed", "sat"], "windows": ["20:00-08:00"]}
BAN: dict[str, Any] = {"name": "ban", "max_days_per_week": 0}
REASON = "the supplier allowed it by letter of 3 June"
SignIn = Callable[[User], Client]


def rule_set(*specs: dict[str, Any]) -> RuleSetContent:
    made = RuleSet.objects.create(code="hill", supplier="Hill Water")
    for spec in specs or (NIGHTS,):
        RuleStage.objects.create(rule_set=made, name=spec["name"], spec=spec)
    return content()


def content() -> RuleSetContent:
    found = rule_set_content(code="hill")
    assert found is not None
    return found


def set_program(controller: Controller, *, starts: str = "04:00", days: str = "daily") -> None:
    setting = ProgramSet.objects.create(controller=controller, as_of=date(2026, 4, 10))
    for station, minutes in ((1, 10), (2, 10), (3, 40)):
        ProgramLine.objects.create(
            program_set=setting, letter="A", days=days, starts=starts, station=station, run_min=minutes,
            run_order=station,
        )  # fmt: skip


def fill(location: Location, first: date, last: date) -> None:
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location, day=day, issued=day, source="test", fetched_at=NOW, tmin_c=9.0, tmax_c=27.0,
            eto_mm=5.0, eto_sd_mm=0.4, rain_mm=0.0, rain_used_mm=12.0 if day.day == 20 else 0.0,
            rain_sd_mm=0.5,
        )
        for day in days
    )  # fmt: skip
    Location.objects.filter(pk=location.pk).update(newest_day=last)


def garden(location: Location, code: str, **columns: Any) -> Controller:
    controller = build_controller(build_site(code, location=location, rule_set="hill", **columns))
    build_zone(controller, 1)
    build_zone(controller, 2)
    build_zone(controller, 3, plant="shrubs", head="dripline")
    build_sensor(controller, 2)
    return controller


@pytest.fixture
def book(company: Company) -> list[Controller]:
    """Three gardens: one that two days a week break, one that keeps them, one without a program."""
    location = build_location()
    for year in range(2021, 2026):
        fill(location, date(year, 6, 10), date(year, 8, 10))
    fill(location, date(2026, 4, 10), date(2026, 6, 14))
    breaks, keeps, unset = (garden(location, f"CB-{n}") for n in (1, 2, 3))
    set_program(breaks)
    set_program(keeps, days="wed,sat", starts="22:00")
    del unset
    update_balance(until_day=date(2026, 6, 14))
    return [breaks, keeps]


def drill(stage: dict[str, Any], *, on_top: bool = False, on: date = date(2026, 6, 22)) -> Drill:
    return run_drill(
        content=content(), stage=stage, on=on, until=None, on_top=on_top, today=WEEK, price_per_m3=2.0
    )


def test_the_drill_lists_what_breaks_with_its_rule_and_a_replacement_that_fits(
    book: list[Controller],
) -> None:
    rule_set()

    found = drill(TWO_DAYS)

    assert (found.controllers, found.without_program, found.breaking, found.breaking_already) == (3, 1, 1, 0)
    (row,) = found.rows
    assert (row.site, row.controller) == ("CB-1", "A")
    assert "Mon is not among the days (Wed, Sat)" in row.breaks[0].sentence
    assert row.before is not None
    assert row.after is not None
    # The night of Wed and Sat reaches into the mornings of Thu and Sun.
    assert row.after.program
    assert not any(day in words for words in row.after.program for day in ("Mon", "Tue", "Fri", "every"))
    assert row.after.week_l > 0
    assert not RuleStage.objects.exclude(name="nights").exists()
    assert not Recommendation.objects.exists()
    assert not Change.objects.exists()


def test_under_a_ban_no_program_is_possible_and_the_dry_days_are_told(book: list[Controller]) -> None:
    rule_set()

    found = drill(BAN)

    assert found.breaking == 2
    assert found.impossible == 2
    for row in found.rows:
        assert row.after is not None
        assert row.after.program == ()
        assert row.after.week_l == 0
        assert row.more_dry_days > 0
        assert row.less_l > 0
        assert row.open_stations == ()


def test_stations_that_may_still_be_watered_are_named(book: list[Controller]) -> None:
    rule_set()

    found = drill({**BAN, "applies_to": {"heads": ["fixed_spray"]}}, on_top=True)

    assert found.rows[0].breaks[0].stations == (1, 2)
    assert found.rows[0].open_stations == (3,)


def test_a_program_that_breaks_the_rules_already_is_told_apart(book: list[Controller]) -> None:
    rule_set({**NIGHTS, "windows": ["20:00-03:00"]})

    found = drill(TWO_DAYS)

    assert found.breaking_already == 1
    assert found.rows[0].breaks_already


def test_the_page_shows_the_drill_and_makes_it_so(
    book: list[Controller], dispatcher: User, sign_in: SignIn
) -> None:
    rule_set()
    client = sign_in(dispatcher)
    address = reverse("fleet:rules-drill")
    assert "nothing is written until you say so" in client.get(address).content.decode()
    asked = {"set": "hill", "stage": "common-1", "on": "2026-06-22", "how": "instead"}

    page = client.get(address, asked).content.decode()
    assert "<b>1 of 3</b> controllers" in page
    assert "style=" not in page
    assert RuleStage.objects.count() == 1

    wrong = client.get(address, {**asked, "json": '{"name": "x", "dates": "prime"}'}).content.decode()
    assert "dates: expected any, odd or even" in wrong
    early = client.get(address, {**asked, "until": "2026-06-01"}).content.decode()
    assert "expected a day after the first one" in early

    switch = reverse("fleet:rules-switch")
    client.post(switch, {**asked, "version": "stale"})
    assert RuleStage.objects.count() == 1
    client.post(switch, {**asked, "version": content().version})
    old, new = content().specs
    assert (old["until"], new["from"]) == ("2026-06-22", "2026-06-22")
    assert StageRun.objects.filter(stage="weekly_round").exists()


def test_a_manager_looks_but_does_not_switch(
    book: list[Controller], manager: User, stranger: User, sign_in: SignIn
) -> None:
    rule_set()
    client = sign_in(manager)
    page = client.get(reverse("fleet:rules-drill"), {"set": "hill", "stage": "common-4"}).content.decode()
    assert "none is possible" in page
    assert "Make it so" not in page
    assert client.post(reverse("fleet:rules-switch"), {}).status_code == 403
    assert sign_in(stranger).get(reverse("fleet:rules-drill")).status_code == 403


def recommended(controller: Controller, *, days: str = "daily", starts: str = "04:00") -> Recommendation:
    row = Recommendation.objects.create(
        controller=controller, week=WEEK, is_change=True, computed_on=WEEK, reasons=["because"]
    )
    RecommendationLine.objects.create(
        recommendation=row, letter="A", days=days, starts=starts, station=1, run_min=10, run_order=1
    )
    return row


def test_nothing_outside_permitted_hours_is_accepted_without_a_written_reason() -> None:
    rule_set(TWO_DAYS)
    controller = build_controller(build_site(rule_set="hill"))
    build_zone(controller, 1)
    row = recommended(controller)

    for note in ("", "  ", "short"):
        with pytest.raises(ReasonNeeded, match="Mon is not among the days"):
            decide_program(recommendation_id=row.pk, status="accepted", by="hana", at=NOW, note=note)
    row.refresh_from_db()
    assert row.status == "recommended"
    assert not Change.objects.exists()

    decide_program(recommendation_id=row.pk, status="accepted", by="hana", at=NOW, note=REASON)
    row.refresh_from_db()
    assert (row.status, row.outside_reason) == ("accepted", REASON)
    change = Change.objects.get()
    assert (change.after, change.reason) == ({"status": "accepted", "outside_hours": True}, REASON)


def test_holding_and_taking_back_need_no_reason() -> None:
    rule_set(TWO_DAYS)
    controller = build_controller(build_site(rule_set="hill"))
    build_zone(controller, 1)
    row = recommended(controller)

    decide_program(recommendation_id=row.pk, status="held", by="hana", at=NOW)
    assert (
        decide_program(recommendation_id=row.pk, status="recommended", by="hana", at=NOW).outside_reason == ""
    )


def test_many_at_once_leave_out_those_that_break_a_rule() -> None:
    rule_set(TWO_DAYS)
    rows = []
    for code, days, starts in (("CB-1", "daily", "04:00"), ("CB-2", "wed,sat", "21:00")):
        controller = build_controller(build_site(code, rule_set="hill"))
        build_zone(controller, 1)
        rows.append(recommended(controller, days=days, starts=starts))

    done = decide_programs(recommendation_ids=[row.pk for row in rows], status="accepted", by="hana", at=NOW)

    assert (done.changed, done.left, done.outside) == (1, 1, 1)
    assert [Recommendation.objects.get(pk=row.pk).status for row in rows] == ["recommended", "accepted"]


def test_rules_that_nobody_knows_take_a_reason_too() -> None:
    controller = build_controller(build_site(rule_set="gone"))
    build_zone(controller, 1)
    row = recommended(controller)

    with pytest.raises(ReasonNeeded, match="not in the book"):
        decide_program(recommendation_id=row.pk, status="accepted", by="hana", at=NOW)


def test_a_stage_that_comes_takes_accepted_programs_back_but_not_those_with_a_reason() -> None:
    rule_set(NIGHTS)
    rows = []
    for code in ("CB-1", "CB-2"):
        controller = build_controller(build_site(code, rule_set="hill"))
        build_zone(controller, 1)
        rows.append(recommended(controller))
        decide_program(recommendation_id=rows[-1].pk, status="accepted", by="hana", at=NOW)
    Recommendation.objects.filter(pk=rows[1].pk).update(outside_reason=REASON)
    switch_stage(
        code="hill", stage=BAN, on=date(2026, 6, 18), until=None, on_top=True, version=content().version,
        by="hana", at=NOW,
    )  # fmt: skip

    assert reopen_outside_programs(rule_set="hill", by="hana", at=NOW) == 1
    assert reopen_outside_programs(rule_set="hill", by="hana", at=NOW) == 0
    assert [Recommendation.objects.get(pk=row.pk).status for row in rows] == ["recommended", "accepted"]
    assert "rules hill changed" in Change.objects.filter(kind="recommendation").latest("pk").reason


def test_what_the_round_recommends_breaks_no_rule(book: list[Controller]) -> None:
    rule_set(TWO_DAYS)

    weekly_round(week=WEEK, today=WEEK, price_per_m3=2.0)

    ids = list(Recommendation.objects.values_list("pk", flat=True))
    assert len(ids) == 3
    assert recommendation_breaks(recommendation_ids=ids) == {}
    (now,) = set_program_breaks_under(controller_ids=[one.pk for one in book], first_day=WEEK, under=[{}])
    assert list(now) == [book[0].pk]


def test_the_round_s_page_offers_the_reason(dispatcher: User, company: Company, sign_in: SignIn) -> None:
    rule_set(TWO_DAYS)
    controller = build_controller(build_site(rule_set="hill"))
    build_zone(controller, 1)
    row = recommended(controller)
    client = sign_in(dispatcher)

    page = client.get(reverse("fleet:round")).content.decode()
    assert "It breaks the watering rules within two weeks." in page
    refused = client.post(reverse("fleet:round-decide", args=[row.pk]), {"status": "accepted"}, follow=True)
    assert "only with a written reason" in refused.content.decode()
    client.post(reverse("fleet:round-decide", args=[row.pk]), {"status": "accepted", "note": REASON})
    row.refresh_from_db()
    assert row.status == "accepted"
    assert REASON in client.get(reverse("fleet:round"), {"show": "accepted"}).content.decode()


def test_the_sheet_warns_of_a_program_outside_the_rules_and_tells_the_reason(
    dispatcher: User, company: Company, sign_in: SignIn
) -> None:
    rule_set(TWO_DAYS)
    controller = build_controller(build_site(rule_set="hill"))
    build_zone(controller, 1)
    row = recommended(controller)
    client = sign_in(dispatcher)
    address = reverse("fleet:sheet", args=["CB-14", "A"])

    assert "Not to be keyed in yet. Station 1: Mon 15 Jun" in client.get(address).content.decode()
    Recommendation.objects.filter(pk=row.pk).update(outside_reason=REASON)
    assert f"for a written reason: {REASON}." in client.get(address).content.decode()
    RuleStage.objects.all().delete()
    assert "written reason" not in client.get(address).content.decode()
