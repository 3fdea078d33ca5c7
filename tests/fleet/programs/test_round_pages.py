"""The weekly round's page and the program sheet, from the database to the words on them."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.models import Company, Route, Stop, Technician, User, Visit
from fleet.selectors.programs.round_page import settings_of_year
from sites.models import Change, Controller, ProgramLine, ProgramSet, Recommendation, RecommendationLine
from tests.factories import build_controller, build_sensor, build_site, build_zone

pytestmark = pytest.mark.django_db
WEEK = date(2026, 6, 15)


@pytest.fixture
def answer() -> Recommendation:
    """A program of one letter that becomes two."""
    controller = build_controller(build_site())
    for station, name in ((1, "front lawn"), (2, "<script>bed</script>")):
        build_zone(controller, station, name=name)
    build_sensor(controller, 1)
    setting = ProgramSet.objects.create(controller=controller, as_of=date(2026, 5, 1))
    for station in (1, 2):
        ProgramLine.objects.create(
            program_set=setting, letter="A", days="daily", starts="04:00", station=station, run_min=20,
            run_order=station,
        )  # fmt: skip
    return _answer(controller)


def _answer(controller: Controller, **columns: object) -> Recommendation:
    given = {
        "is_change": True,
        "computed_on": WEEK,
        "reasons": ["Station 1 now runs past the run-off limit.", "Switch the timer off on 31 July."],
        "water_at_stake_l": 4000.0,
        "dry_zone_days_spared": 6.0,
        "adequacy_pct_now": 88.0,
        "adequacy_pct": 98.0,
        "minutes_now": 280.0,
        "minutes_new": 200.0,
        "threshold_kpa_now": 40.0,
        "threshold_kpa": 32.0,
        "expected_bypass_rate": 0.3,
        "seasons_used": 8,
        **columns,
    }
    answer = Recommendation.objects.create(controller=controller, week=WEEK, **given)
    for letter, days, starts, station, minutes in (
        ("A", "daily", "03:00;05:00", 1, 9),
        ("B", "every:4@2026-06-16", "01:00", 2, 30),
    ):
        RecommendationLine.objects.create(
            recommendation=answer, letter=letter, days=days, starts=starts, station=station,
            run_min=minutes, run_order=1,
        )  # fmt: skip
    return answer


def as_dispatcher() -> Client:
    user = User.objects.create_user(username="hana", password="garden-water-42", role=User.Role.DISPATCHER)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_the_sheet_shows_every_setting_old_and_new_with_why_and_cautions(answer: Recommendation) -> None:
    page = as_dispatcher().get(reverse("fleet:sheet", args=["CB-14", "A"])).content.decode()

    assert "Set your timer like this" in page
    assert "every 4 days, from 16 Jun" in page
    assert "was 20 min" in page
    assert "Station 1 now runs past the run-off limit." in page
    assert page.index("Take care") < page.index("Switch the timer off on 31 July.")
    assert "40 to 32 kPa" in page
    assert "Local codes and licensed practice come first" in page
    assert "<script>bed" not in page
    assert "style=" not in page


def test_a_program_that_stays_is_shown_as_it_is(answer: Recommendation) -> None:
    Recommendation.objects.update(is_change=False)

    page = as_dispatcher().get(reverse("fleet:sheet", args=["CB-14", "A"])).content.decode()

    assert "Leave your timer as it is" in page
    assert "20 min" in page
    assert "was " not in page


def test_a_sheet_without_any_round_still_tells_what_is_set(answer: Recommendation) -> None:
    Recommendation.objects.all().delete()

    page = as_dispatcher().get(reverse("fleet:sheet", args=["CB-14", "A"])).content.decode()

    assert "The weekly round has not looked at this timer yet" in page


def test_the_round_lists_changes_and_shows_the_first_beside_them(answer: Recommendation) -> None:
    page = as_dispatcher().get(reverse("fleet:round")).content.decode()

    assert "1 of 1" in page
    assert "save" in page
    assert "One watering day" in page
    assert "Accept this program" in page
    assert reverse("fleet:sheet", args=["CB-14", "A"]) in page


def test_another_row_can_be_picked(answer: Recommendation) -> None:
    other = _answer(build_controller(build_site("CB-15", address="7 Weir Street")), water_at_stake_l=10.0)

    page = as_dispatcher().get(reverse("fleet:round"), {"pick": other.pk}).content.decode()

    assert page.index('id="detail"') < page.index("7 Weir Street")


def test_a_decision_is_taken_kept_and_can_be_taken_back(answer: Recommendation) -> None:
    client = as_dispatcher()
    address = reverse("fleet:round-decide", args=[answer.pk])

    for status in ("accepted", "held", "recommended"):
        client.post(address, {"status": status, "show": "decide"})
        answer.refresh_from_db()
        assert answer.status == status
    assert Change.objects.filter(kind="recommendation").count() == 3
    assert client.post(address, {"status": "burnt"}).status_code == 302
    answer.refresh_from_db()
    assert answer.status == "recommended"


def test_a_technician_may_not_decide(answer: Recommendation) -> None:
    user = User.objects.create_user(username="ines", password="garden-water-42", role=User.Role.TECHNICIAN)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

    response = client.post(reverse("fleet:round-decide", args=[answer.pk]), {"status": "accepted"})

    assert response.status_code == 403
    answer.refresh_from_db()
    assert answer.status == "recommended"


@pytest.mark.parametrize(
    ("litres", "words"),
    [(4000.0, "<b>8.0 USD</b> less"), (-3000.0, "<b>6.0 USD</b> more")],
)
def test_the_cost_of_a_change_stands_beside_what_it_brings_and_from_where_it_counts(
    answer: Recommendation, litres: float, words: str
) -> None:
    Recommendation.objects.update(water_at_stake_l=litres, money_at_stake=litres / 500)
    client = as_dispatcher()
    Company.objects.update_or_create(
        pk=1, defaults={"settings": {"cost_per_hour": 60.0, "min_program_change": 30.0}}
    )

    page = client.get(reverse("fleet:round"), {"pick": answer.pk}).content.decode()

    assert "<b>30 USD</b>, 30 min at the timer" in page
    assert words in page
    # 1,500 L at 2 a cubic metre.
    assert "(3.0 USD)" in page
    assert "spares 5 dry zone-days" in page


def test_ticked_programs_are_accepted_together(answer: Recommendation) -> None:
    client = as_dispatcher()
    address = reverse("fleet:round-decide-many")

    none = client.post(address, {"status": "accepted", "which": "ticked"}, follow=True)
    done = client.post(address, {"status": "accepted", "which": "ticked", "pk": answer.pk}, follow=True)

    assert "No program was ticked" in none.content.decode()
    assert "1 programs are accepted." in done.content.decode()
    answer.refresh_from_db()
    assert answer.status == "accepted"


def test_what_was_decided_together_is_taken_back_together(answer: Recommendation) -> None:
    client, address = as_dispatcher(), reverse("fleet:round-decide-many")
    others = [_answer(build_controller(build_site(f"CB-{n}"))) for n in (21, 22)]
    many = [answer.pk, others[0].pk]
    client.post(address, {"status": "held", "which": "ticked", "pk": [others[1].pk]})
    page = client.post(address, {"status": "accepted", "which": "ticked", "pk": many}, follow=True)
    moment = re.search(r'name="at" value="([^"]+)"', page.content.decode())
    assert moment is not None
    assert "2 programs were accepted together by hana." in page.content.decode()

    back = client.post(address, {"which": "together", "at": moment.group(1)}, follow=True)

    assert "2 programs are to be decided again." in back.content.decode()
    assert "together by" not in back.content.decode()
    assert set(Recommendation.objects.filter(pk__in=many).values_list("status", flat=True)) == {"recommended"}
    assert Recommendation.objects.get(pk=others[1].pk).status == "held"
    assert Change.objects.filter(kind="recommendation", after={"status": "recommended"}).count() == 2
    for wrong in ("", "yesterday", "2026-06-15T10:00:00", moment.group(1)):
        again = client.post(address, {"which": "together", "at": wrong}, follow=True)
        assert "Nothing is left of that decision" in again.content.decode()


def test_all_of_a_list_means_the_list_that_was_looked_at(answer: Recommendation) -> None:
    other = build_controller(build_site(code="ZZ-99", name="Other"), code="B")
    kept = Recommendation.objects.create(controller=other, week=WEEK, is_change=True, computed_on=WEEK)
    client = as_dispatcher()

    client.post(
        reverse("fleet:round-decide-many"),
        {"status": "accepted", "which": "all", "show": "decide", "q": answer.controller.site.code},
    )

    answer.refresh_from_db()
    kept.refresh_from_db()
    assert (answer.status, kept.status) == ("accepted", "recommended")


def test_the_list_is_found_by_words_kind_and_order(answer: Recommendation) -> None:
    client = as_dispatcher()
    address = reverse("fleet:round")

    assert (
        answer.controller.site.code
        in client.get(address, {"q": answer.controller.site.code}).content.decode()
    )
    assert "Nothing here" in client.get(address, {"q": "nowhere"}).content.decode()
    for order in ("water", "dry", "money", "site", "<script>"):
        assert client.get(address, {"order": order, "kind": "clock", "page": "²"}).status_code == 200


def test_settings_of_a_year_tell_the_adjust_from_the_rest(answer: Recommendation) -> None:
    controller = answer.controller
    for day, minutes, adjust in ((date(2026, 5, 20), 20, 80), (date(2026, 6, 1), 25, 80)):
        setting = ProgramSet.objects.create(controller=controller, as_of=day)
        for station in (1, 2):
            ProgramLine.objects.create(
                program_set=setting, letter="A", days="daily", starts="04:00", station=station,
                run_min=minutes, run_order=station, seasonal_adjust_pct=adjust,
            )  # fmt: skip

    assert settings_of_year(controller_id=controller.pk, day=WEEK) == (2, 1)
    assert settings_of_year(controller_id=controller.pk, day=date(2028, 1, 1)) == (0, 0)


def test_the_form_by_hand_shows_the_program_and_names_what_cannot_be_read(answer: Recommendation) -> None:
    client = as_dispatcher()
    address = reverse("fleet:round-edit", args=[answer.pk])

    page = client.get(address).content.decode()
    bad = client.post(
        address, {"minA1": "ten", "daysA": "someday", "minA2": "5", "startsA": "4", "action": "save"}
    ).content.decode()

    assert ">03:00 05:00</textarea>" in page
    assert "no number of minutes" in bad
    assert "expected days such as" in bad
    assert "&lt;script&gt;bed" in page
    assert Recommendation.objects.get(pk=answer.pk).is_by_hand is False


def test_a_site_is_frozen_and_let_go_from_the_page(answer: Recommendation) -> None:
    client = as_dispatcher()
    address = reverse("fleet:round-freeze", args=[answer.controller.site.code])

    frozen = client.post(address, {"frozen": "yes", "reason": "customer sets it"}, follow=True)
    answer.refresh_from_db()

    assert "keeps its programs; 1 waiting changes are held" in frozen.content.decode()
    assert answer.status == "held"
    client.post(address, {"frozen": "no"})
    answer.refresh_from_db()
    assert answer.status == "recommended"


def test_a_manager_reads_and_does_not_decide(answer: Recommendation) -> None:
    user = User.objects.create_user(username="ruth", password="garden-water-42", role=User.Role.MANAGER)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

    assert client.get(reverse("fleet:round")).status_code == 200
    assert client.post(reverse("fleet:round-decide-many"), {"status": "accepted"}).status_code == 403
    assert client.get(reverse("fleet:round-edit", args=[answer.pk])).status_code == 403
    freeze = reverse("fleet:round-freeze", args=[answer.controller.site.code])
    assert client.post(freeze, {"frozen": "yes"}).status_code == 403


def test_the_homeowners_sheet_is_free_of_the_trades_words(answer: Recommendation) -> None:
    client = as_dispatcher()
    code = answer.controller.site.code

    page = client.get(reverse("fleet:sheet", args=[code, answer.controller.code]), {"for": "home"})
    text = re.sub(r"<[^>]+>", " ", page.content.decode())
    body = text[text.index("What changes in your garden") :]

    assert "Some turns were so long that water ran off." in body
    assert re.search(r"about\s+1[\s\u202f\u2009]?000[\s\u202f\u00a0]?L\s+less", body)
    assert "Every day" in body
    assert "about 30" in body
    for word in ("kPa", "run-off", "PR", "DU", "ETo", "bypass", "station 1", "depletion", "threshold"):
        assert word not in body, word
    assert "&lt;script&gt;bed" in page.content.decode()


def test_a_homeowner_reads_nothing_of_a_change_where_nothing_changes(answer: Recommendation) -> None:
    Recommendation.objects.update(is_change=False)
    client = as_dispatcher()

    page = client.get(
        reverse("fleet:sheet", args=[answer.controller.site.code, answer.controller.code]), {"for": "home"}
    ).content.decode()

    assert "Your garden’s watering stays as it is" in page
    assert "than before" not in page


def test_a_us_reader_gets_gallons_on_the_sheet(answer: Recommendation) -> None:
    client = as_dispatcher()
    User.objects.filter(username="hana").update(units="us")

    page = client.get(
        reverse("fleet:sheet", args=[answer.controller.site.code, answer.controller.code]), {"for": "home"}
    ).content.decode()

    assert re.search(r"264\W{0,8}gal", re.sub(r"<[^>]+>", "", page))


def test_all_sheets_of_a_day_stand_in_the_order_of_the_route(answer: Recommendation) -> None:
    site = answer.controller.site
    person = Technician.objects.create(
        code="T1", name="Ines Marlow", start_latitude=41.0, start_longitude=-104.0, end_latitude=41.0,
        end_longitude=-104.0, shift_start=time(7), shift_end=time(16), workdays="mon",
    )  # fmt: skip
    noon = datetime(2026, 6, 15, 12, tzinfo=UTC)
    route = Route.objects.create(technician=person, day=WEEK, start_at=noon, end_at=noon, planned_at=noon)
    visit = Visit.objects.create(site=site, week=WEEK, service_min=20, value_per_day=1)
    Stop.objects.create(route=route, order=1, visit=visit, arrive=noon, depart=noon)
    client = as_dispatcher()

    page = client.get(reverse("fleet:sheets"), {"date": "2026-06-15"}).content.decode()
    empty = client.get(reverse("fleet:sheets"), {"date": "2026-06-16"}).content.decode()
    odd = client.get(reverse("fleet:sheets"), {"date": "yesterday", "for": "home"})

    assert "1 sheet for" in page
    assert "Ines Marlow, stop 1" in page
    assert "Set your timer like this" in page
    assert "No sheet for this day" in empty
    assert odd.status_code == 200
    Recommendation.objects.update(status="held")
    assert "0 sheets" in client.get(reverse("fleet:sheets"), {"date": "2026-06-15"}).content.decode()


def test_the_list_asks_the_database_as_often_for_forty_rows_as_for_two(
    answer: Recommendation,
) -> None:
    client = as_dispatcher()
    site = answer.controller.site
    others = [build_controller(site, code=f"X{at}") for at in range(60)]
    client.get(reverse("fleet:round"))
    with CaptureQueriesContext(connection) as few:
        client.get(reverse("fleet:round"))
    Recommendation.objects.bulk_create(
        Recommendation(controller=one, week=WEEK, is_change=True, computed_on=WEEK, water_at_stake_l=1.0)
        for one in others
    )

    with CaptureQueriesContext(connection) as many:
        page = client.get(reverse("fleet:round")).content.decode()

    assert len(many) <= len(few) + 1
    assert "1 to 40 of 61" in page
    assert page.count('name="pk"') == 40


def test_the_round_says_where_the_locations_rain_stands_in_for_a_silent_gauge(answer: Recommendation) -> None:
    client = as_dispatcher()
    before = client.get(reverse("fleet:round")).content.decode()
    Recommendation.objects.update(rain_stood_in_days=3)

    page = client.get(reverse("fleet:round")).content.decode()

    assert "its gauge told nothing" not in before
    assert "On 3 days of these seasons its gauge told nothing: the location’s rain stands in." in page
