"""A program by hand: every limit is seen, a watering rule takes a reason, decisions on many at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User
from sites.calc.program.check import HandCheck, hand_check
from sites.calc.program.keyed import keyed_lines
from sites.calc.program.sheet import KeyedLine
from sites.calc.rules.cases import rule_case
from sites.calc.rules.stages import Stage, Watered, Window
from sites.calc.search.garden import best_answer
from sites.models import Change, Controller, Recommendation, RuleSet, RuleStage, Site
from sites.services.found_on_site import key_in_recommendation
from sites.services.program_by_hand import ProgramNotPossible, ReasonNeeded, edit_program
from sites.services.programs import decide_programs, freeze_programs
from tests.sites.search.cases import DAYS, FIRST_DAY
from tests.sites.search.test_ways import a_garden
from tests.sites.search.test_weekly_round_service import NOW, WEEK, garden, run  # noqa: F401

MODES = ("weekdays", "interval", "odd", "even")
NIGHT = rule_case(
    (Stage("night", windows=(Window(1200, 600),)),),
    (Watered(12),),
    first_day=FIRST_DAY,
    day_count=DAYS,
    day_modes=MODES,
    timezone="UTC",
)


def line(station: int = 1, minutes: float = 20, **columns: object) -> KeyedLine:
    plain = KeyedLine("A", "daily", "04:00", station, minutes)
    return replace(plain, **columns)  # type: ignore[arg-type]


def check(*lines: KeyedLine, modes: tuple[str, ...] = MODES, **kinds: object) -> HandCheck:
    return hand_check(a_garden(case=NIGHT, **kinds), lines, day_modes=modes, week=FIRST_DAY)  # type: ignore[arg-type]


def test_what_the_search_chose_passes_the_check_and_does_the_same() -> None:
    made = a_garden(case=NIGHT, governing=1)
    best = best_answer(made)

    found = hand_check(
        made,
        keyed_lines(best.given, best.chosen, 0, NIGHT.choices),
        day_modes=MODES,
        week=FIRST_DAY,
    )

    assert found.problems == ()
    assert found.outside == ()
    assert found.cautions == ()
    assert found.figures.adequacy_pct == pytest.approx(best.figures.adequacy_pct, abs=0.2)
    assert found.figures.water_l == pytest.approx(best.figures.water_l, rel=0.02)


SPRAY = {"heads": ("fixed_spray", "fixed_spray"), "plants": ("cool_turf", "shrubs"), "texture": "clay"}


@pytest.mark.parametrize(
    ("lines", "kinds", "words"),
    [
        ([], {}, "No station runs"),
        ([line(starts="")], {}, "no start"),
        ([line(starts="01:00;02:00;03:00;04:00;05:00")], {}, "5 starts; the timer has 4"),
        ([line(), line(letter="B", starts="06:00")], {"program_count": 1}, "the timer has 1"),
        ([line(station=9)], {}, "Station 9 waters no zone"),
        ([line(minutes=7)], {"minute_step": 5.0}, "no whole step of 5 min"),
        ([line(minutes=61)], {"max_run_min": 60.0}, "longest run is 60 min"),
        ([line(minutes=30)], SPRAY, "runs off; the limit of soil, slope and heads is"),
        ([line(minutes=5, starts="04:00;04:20")], SPRAY, "has soaked in by"),
        ([line(), line(letter="B", starts="04:10", station=2)], {}, "starts at 04:10 while program A"),
        ([line(minutes=40, days="daily", starts="04:00;04:30")], {}, "starts at 04:30 while program A"),
    ],
)
def test_every_hard_limit_is_named(lines: list[KeyedLine], kinds: dict[str, object], words: str) -> None:
    found = check(*lines, **kinds)  # type: ignore[arg-type]

    assert any(words in problem for problem in found.problems)


def test_a_day_mode_that_the_timer_lacks_is_named() -> None:
    found = check(line(days="odd"), modes=("weekdays",))

    assert found.problems == ("Program A: the timer cannot be set to odd.",)
    assert check(line(days="daily"), modes=("weekdays",)).problems == ()


def test_a_run_in_barred_hours_is_outside_and_not_a_hard_limit() -> None:
    found = check(line(starts="12:00"))

    assert found.outside == ("It waters on days or in hours that the watering rules bar.",)
    assert found.problems == ()
    assert check(line(starts="23:50")).outside == ()


def test_a_run_that_ends_after_the_window_closes_is_outside() -> None:
    assert check(line(starts="09:30", minutes=20)).outside == ()
    assert check(line(starts="09:50", minutes=20)).outside != ()


def test_zones_without_water_and_stations_behind_the_sensor_are_cautions() -> None:
    assert check(line()).cautions == ("Station 2 gets no water.",)
    behind = check(line(), line(2))
    assert behind.cautions == ("Program A: the sensor may cut station 2 short, behind its own station.",)
    assert check(line(), line(2), has_free_order=True).cautions == behind.cautions


def test_half_the_minutes_cost_stress_and_the_figures_say_so() -> None:
    whole, half = check(line(minutes=40), line(2, 40)), check(line(minutes=10), line(2, 10))

    assert half.figures.dry_days > whole.figures.dry_days
    assert half.figures.water_l < whole.figures.water_l
    assert half.minutes_a_week == pytest.approx(whole.minutes_a_week / 4)


@pytest.fixture
def answer(garden: Controller) -> Recommendation:  # noqa: F811
    run()
    return Recommendation.objects.get()


def edit(answer: Recommendation, *lines: KeyedLine, reason: str = "") -> None:
    edit_program(
        recommendation_id=answer.pk,
        lines=lines,
        today=WEEK,
        price_per_m3=2.0,
        by="hana",
        at=NOW,
        reason=reason,
    )


GOOD = (line(1, 6), line(2, 6), line(3, 20))


@pytest.mark.django_db
def test_a_program_by_hand_is_kept_accepted_and_told(answer: Recommendation) -> None:
    edit(answer, *GOOD, reason="the customer wants one start")

    answer.refresh_from_db()
    assert (answer.status, answer.is_by_hand, answer.is_change) == ("accepted", True, True)
    assert [(one.station, one.run_min, one.starts) for one in answer.lines.order_by("run_order")] == [
        (1, 6.0, "04:00"),
        (2, 6.0, "04:00"),
        (3, 20.0, "04:00"),
    ]
    assert answer.reasons[0] == "Written by hand by hana: the customer wants one start."
    kept = Change.objects.get(kind="recommendation", reason="the customer wants one start")
    assert kept.after is not None
    assert kept.after["lines"][0] == "A daily 04:00 station 1 6 min 100 %"
    run()  # the next night leaves it as it is
    assert Recommendation.objects.get().lines.count() == 3


@pytest.mark.django_db
def test_a_program_that_breaks_a_limit_is_not_kept(answer: Recommendation) -> None:
    before = list(answer.lines.values_list("station", "run_min"))

    with pytest.raises(ProgramNotPossible, match="no start"):
        edit(answer, line(starts=""))

    assert list(answer.lines.values_list("station", "run_min")) == before


@pytest.mark.django_db
def test_outside_permitted_hours_takes_a_written_reason(answer: Recommendation) -> None:
    # Without a rule set nothing is outside; a supplier's rule makes noon so.
    rules = RuleSet.objects.create(code="night", supplier="Test")
    RuleStage.objects.create(rule_set=rules, name="night", spec={"name": "night", "windows": ["20:00-10:00"]})
    Site.objects.update(rule_set="night", address="12 Bell Yard")
    noon = tuple(replace(one, starts="12:00") for one in GOOD)

    with pytest.raises(ReasonNeeded, match="Write the reason"):
        edit(answer, *noon)
    with pytest.raises(ReasonNeeded):
        edit(answer, *noon, reason="because")
    edit(answer, *noon, reason="new sod, exempt until 6 July")

    answer.refresh_from_db()
    assert answer.outside_reason == "new sod, exempt until 6 July"


@pytest.mark.django_db
def test_taking_back_a_program_by_hand_brings_the_rounds_own_again(
    answer: Recommendation, company: Company, dispatcher: User, sign_in: Callable[[User], Client]
) -> None:
    assert company.demo_today == WEEK
    own = list(answer.lines.values_list("letter", "starts", "station", "run_min"))
    edit(answer, *GOOD)
    assert list(answer.lines.values_list("letter", "starts", "station", "run_min")) != own

    page = sign_in(dispatcher).post(
        reverse("fleet:round-decide", args=[answer.pk]), {"status": "recommended"}, follow=True
    )

    assert "own program stands in the place of the one by hand again" in page.content.decode()
    answer.refresh_from_db()
    assert (answer.status, answer.is_by_hand) == ("recommended", False)
    assert list(answer.lines.values_list("letter", "starts", "station", "run_min")) == own


@pytest.mark.django_db
def test_a_program_in_the_timer_is_not_edited(answer: Recommendation) -> None:
    key_in_recommendation(recommendation_id=answer.pk, on=date(2026, 6, 16), by="ines", at=NOW)

    with pytest.raises(ProgramNotPossible, match="stands in the timer already"):
        edit(answer, *GOOD)


@pytest.mark.django_db
def test_many_are_decided_at_once_and_what_was_decided_stays(answer: Recommendation) -> None:
    done = decide_programs(recommendation_ids=[answer.pk, 999], status="accepted", by="hana", at=NOW)
    again = decide_programs(recommendation_ids=[answer.pk], status="held", by="hana", at=NOW)

    assert (done.changed, done.left) == (1, 1)
    assert (again.changed, again.left) == (0, 1)
    answer.refresh_from_db()
    assert (answer.status, answer.decided_by) == ("accepted", "hana")
    assert Change.objects.filter(kind="recommendation", after={"status": "accepted"}).count() == 1
    with pytest.raises(ValueError, match="expected accepted or held"):
        decide_programs(recommendation_ids=[answer.pk], status="keyed_in", by="hana", at=NOW)


@pytest.mark.django_db
def test_freezing_holds_what_waits_and_letting_go_gives_it_back(answer: Recommendation) -> None:
    site = answer.controller.site

    held = freeze_programs(site_id=site.pk, is_frozen=True, by="hana", at=NOW, reason="customer sets it")
    twice = freeze_programs(site_id=site.pk, is_frozen=True, by="hana", at=NOW)
    answer.refresh_from_db()

    assert (held.changed, twice.changed) == (1, 0)
    assert answer.status == "held"
    assert Change.objects.get(kind="site", reason="customer sets it").after == {"program_frozen": True}
    freeze_programs(site_id=site.pk, is_frozen=False, by="hana", at=NOW)
    answer.refresh_from_db()
    assert answer.status == "recommended"
