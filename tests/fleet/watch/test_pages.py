"""Pages of the watch: list with filters, evidence with deeds, the watch's own record."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.html import escape

from fleet.calc.watch.calibration import FLAG_SCORES
from fleet.calc.watch.settings import FLAG_SCORE_NAME
from fleet.models import Company, Flag, User, WatchDay, WatchState
from fleet.selectors.watch.logs import NEVER, likely_reasons
from fleet.selectors.watch.record import watch_record
from fleet.services.watch.flags import CannotDoWithFlag, rest_flag, settle_flag, wake_flag
from fleet.services.watch.sensors import watch_sensors
from sites.models import BypassLog, Change, Controller, Site
from tests.fleet.watch.test_sensors import LAST, _controller, _log, _weather
from weather.models import Location

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 7, 10, 9, tzinfo=UTC)
LATER = FLAG_SCORES[-1]


@pytest.fixture
def watched() -> dict[str, Controller]:
    """Three good sensors, one that always blocks, one that never does."""
    location = _weather()
    made = {code: _controller(location, code) for code in ("G-1", "G-2", "G-3", "WET", "DRY")}
    for code, controller in made.items():
        _log(controller, blocked_after={"WET": 2, "DRY": 0}.get(code))
    Site.objects.filter(code="DRY").update(address="9 Rill Row", supplier="Town water")
    Company.objects.create(pk=1, name="Test Water")
    watch_sensors(as_of=LAST)
    return made


def _as(client: Client, role: str) -> Client:
    client.force_login(User.objects.create_user(username=role, password="x", role=role))
    return client


def _flag(controller: Controller) -> Flag:
    return Flag.objects.get(controller=controller, closed_on__isnull=True)


def test_the_list_can_be_narrowed_by_state_cause_and_words(
    client: Client, watched: dict[str, Controller]
) -> None:
    _as(client, User.Role.DISPATCHER)

    def codes(**query: str) -> set[str]:
        rows = client.get(reverse("fleet:watch-list"), query).context["rows"]
        return {state.controller.site.code for state, _ in rows}

    assert codes() == {"WET", "DRY"}
    assert codes(show="all") == {"G-1", "G-2", "G-3", "WET", "DRY"}
    assert codes(q="rill town") == {"DRY"}
    assert codes(cause="stuck_wet") == {"WET"}
    assert codes(q="nowhere", show="all") == set()
    assert codes(page="99999999", cause="nonsense") == {"WET", "DRY"}


def test_the_map_shows_the_gardens_of_the_list_on_all_its_pages(
    client: Client, watched: dict[str, Controller]
) -> None:
    Site.objects.update(longitude=-98.0, latitude=40.0)
    Site.objects.filter(code="DRY").update(longitude=-97.5)
    _as(client, User.Role.DISPATCHER)

    def on_map(**query: str) -> set[str]:
        page = client.get(reverse("fleet:watch-list"), query)
        address = reverse("fleet:map-sites") + "?" + page.context["map_query"]
        assert escape(address) in page.content.decode()
        return {mark[0] for mark in client.get(address).json()["sites"]}

    assert on_map() == {"WET", "DRY"}
    assert on_map(cause="stuck_wet") == {"WET"}
    assert on_map(show="all", q="rill") == {"DRY"}
    assert len(client.get(reverse("fleet:map-sites")).json()["sites"]) == 5


def test_the_numbers_behind_the_plots_stand_on_the_page_and_in_a_file(
    client: Client, watched: dict[str, Controller]
) -> None:
    _as(client, User.Role.MANAGER)
    page = client.get(reverse("fleet:watch", args=["WET", watched["WET"].code]))
    address = reverse("fleet:watch-days-csv", args=["WET", watched["WET"].code])
    assert address in page.content.decode()

    rows = list(csv.DictReader(io.StringIO(client.get(address).content.decode())))

    table = page.context["found"].table
    assert [row["day"] for row in rows] == [str(day.day) for day in table]
    assert rows[0]["day"] == str(LAST)
    seen = [row for row in rows if row["ran"]]
    assert seen
    for row in seen:
        assert int(row["starts"]) == int(row["ran"]) + int(row["bypassed"])
    assert float(rows[0]["p_stuck_wet"]) > 0.5


def test_the_most_water_at_stake_stands_first(client: Client, watched: dict[str, Controller]) -> None:
    WatchState.objects.filter(controller=watched["DRY"]).update(litres_at_stake_per_week=9e6)
    _as(client, User.Role.DISPATCHER)

    rows = client.get(reverse("fleet:watch-list")).context["rows"]

    assert [state.controller.site.code for state, _ in rows] == ["DRY", "WET"]


def test_a_long_list_is_paged_with_a_fixed_number_of_queries(
    client: Client, watched: dict[str, Controller], django_assert_max_num_queries: Any
) -> None:
    first = WatchState.objects.get(controller=watched["G-1"])
    more = [_controller(Location.objects.get(), f"N-{number}") for number in range(60)]
    WatchState.objects.bulk_create(
        WatchState(controller=one, as_of=LAST, status="healthy", trace=first.trace) for one in more
    )
    _as(client, User.Role.DISPATCHER)

    with django_assert_max_num_queries(20):
        page = client.get(reverse("fleet:watch-list"), {"show": "all", "page": "2"})

    assert len(page.context["rows"]) == 25
    assert page.context["found"].page.paginator.num_pages == 2


def test_the_evidence_shows_expected_readings_neighbours_parts_and_checks(
    client: Client, watched: dict[str, Controller]
) -> None:
    _as(client, User.Role.DISPATCHER)

    page = client.get(reverse("fleet:watch", args=["DRY", watched["DRY"].code]))

    text = page.content.decode()
    found = page.context["found"]
    assert found.expected.at_threshold.startswith("At its threshold of 42 kPa it reads about")
    assert "Shock and others 1998" in found.expected.now
    assert "locking indicator" in found.expected.indicator
    assert {peer.controller.site.code for peer in found.peers} >= {"G-1", "WET"}
    assert "two-conductor wire" in text
    assert "Unplug the transformer" in text
    assert "neighbours blocked at least half" in text


def test_a_flag_rests_until_its_day_with_a_reason_and_comes_back(watched: dict[str, Controller]) -> None:
    flag = _flag(watched["DRY"])

    done = rest_flag(
        flag_id=flag.pk, until=LAST + timedelta(days=3), reason="new turf", by="hana", day=LAST, at=NOW
    )
    watch_sensors(as_of=LAST)
    assert "rests until" in done.words
    assert WatchState.objects.get(controller=watched["DRY"]).status == "resting"

    watch_sensors(as_of=LAST + timedelta(days=3))

    assert WatchState.objects.get(controller=watched["DRY"]).status == "flag"
    kept = Change.objects.get(kind="flag")
    assert (kept.by, kept.reason) == ("hana", "new turf")


def test_a_resting_flag_wakes_when_the_sensor_errs_the_other_way(watched: dict[str, Controller]) -> None:
    flag = _flag(watched["DRY"])
    Flag.objects.filter(pk=flag.pk).update(
        cause="stuck_wet", resting_until=LAST + timedelta(days=30), resting_reason="pond"
    )

    watch_sensors(as_of=LAST)

    state = WatchState.objects.get(controller=watched["DRY"])
    flag.refresh_from_db()
    assert state.status == "flag"
    assert state.evidence.startswith("Woken by data")
    assert flag.resting_until is None


@pytest.mark.parametrize(
    ("days", "reason", "words"),
    [(3, " ", "Say why"), (0, "turf", "from tomorrow"), (400, "turf", "at most")],
)
def test_a_rest_without_reason_or_day_is_refused(
    watched: dict[str, Controller], days: int, reason: str, words: str
) -> None:
    with pytest.raises(CannotDoWithFlag, match=words):
        rest_flag(
            flag_id=_flag(watched["DRY"]).pk,
            until=LAST + timedelta(days=days),
            reason=reason,
            by="hana",
            day=LAST,
            at=NOW,
        )


def test_a_flag_that_does_not_rest_cannot_be_woken(watched: dict[str, Controller]) -> None:
    with pytest.raises(CannotDoWithFlag, match="does not rest"):
        wake_flag(flag_id=_flag(watched["DRY"]).pk, by="hana", at=NOW)


def test_settling_keeps_the_truth_and_closes_once(watched: dict[str, Controller]) -> None:
    flag = _flag(watched["WET"])

    settle_flag(flag_id=flag.pk, truth="confirmed", note="flooded splice, Ines", by="hana", day=LAST, at=NOW)

    flag.refresh_from_db()
    assert (flag.closed_on, flag.closed_by, flag.truth) == (LAST, "finding", "confirmed")
    assert WatchState.objects.get(controller=watched["WET"]).status == "too_little_data"
    with pytest.raises(CannotDoWithFlag, match="closed already"):
        settle_flag(flag_id=flag.pk, truth="confirmed", note="again", by="hana", day=LAST, at=NOW)


def test_forms_of_the_evidence_page_do_what_they_say(client: Client, watched: dict[str, Controller]) -> None:
    _as(client, User.Role.DISPATCHER)
    flag = _flag(watched["DRY"])
    address = reverse("fleet:watch-flag", args=[flag.pk])

    bad = client.post(address, {"do": "rest", "until": "soon", "reason": "turf"}, follow=True)
    assert "until which day" in bad.content.decode()
    unsaid = client.post(address, {"do": "settle", "truth": "perhaps", "note": "x"}, follow=True)
    assert "Say what was found" in unsaid.content.decode()
    good = client.post(
        address, {"do": "settle", "truth": "not_confirmed", "note": "works, says Ines"}, follow=True
    )

    assert "is closed: not confirmed" in good.content.decode()
    flag.refresh_from_db()
    assert flag.truth == "not_confirmed"
    assert client.post(reverse("fleet:watch-flag", args=[999_999]), {"do": "wake"}).status_code == 404


def test_the_record_counts_findings_and_days_to_the_visit(watched: dict[str, Controller]) -> None:
    Flag.objects.all().delete()
    day = LAST
    for at, (truth, wait) in enumerate([("confirmed", 4), ("confirmed", 6), ("not_confirmed", 9)]):
        Flag.objects.create(
            controller=watched["G-1"],
            cause="stuck_wet",
            probability=0.9,
            raised_on=day - timedelta(days=60 + at),
            closed_on=day - timedelta(days=60 + at - wait),
            closed_by="finding",
            truth=truth,
        )
    Flag.objects.create(
        controller=watched["G-2"],
        cause="erratic",
        probability=0.6,
        raised_on=day - timedelta(days=40),
        closed_on=day - timedelta(days=20),
        closed_by="data",
    )

    found = watch_record(day=day)

    assert (found.total.settled, found.total.confirmed, found.total.not_confirmed) == (3, 2, 1)
    # Wilson (1927) score interval of 2 of 3, from memory: 0.208 to 0.939.
    assert found.total.precision.low == pytest.approx(0.208, abs=0.002)
    assert found.total.precision.high == pytest.approx(0.939, abs=0.002)
    assert found.total.days_to_visit == 6
    assert found.closed_by_data == 1
    assert [row.word for row in found.causes] == ["stuck wet"]


def test_a_manager_moves_the_setting_and_the_next_run_uses_it(
    client: Client, watched: dict[str, Controller]
) -> None:
    _as(client, User.Role.MANAGER)
    page = client.get(reverse("fleet:watch-record"))
    assert "visits a week" in page.content.decode()
    assert page.context["found"].in_use.visits_a_week == WatchDay.objects.get().new_flags_a_week[2]

    client.post(reverse("fleet:watch-setting"), {"flag_score": str(LATER)})
    refused = client.post(reverse("fleet:watch-setting"), {"flag_score": "9"}, follow=True)

    assert "Choose one of the settings" in refused.content.decode()
    assert Company.objects.get().settings[FLAG_SCORE_NAME] == LATER
    assert watch_record(day=LAST).in_use.flag_score == LATER
    assert Change.objects.get(kind="setting").by == User.Role.MANAGER


def test_only_those_who_may_can_change_settings_or_flags(
    client: Client, watched: dict[str, Controller]
) -> None:
    flag = _flag(watched["DRY"])
    _as(client, User.Role.DISPATCHER)
    assert client.post(reverse("fleet:watch-setting"), {"flag_score": str(LATER)}).status_code == 403
    _as(client, User.Role.TECHNICIAN)
    assert client.post(reverse("fleet:watch-flag", args=[flag.pk]), {"do": "wake"}).status_code == 403
    assert client.get(reverse("fleet:watch-record")).status_code == 403


def test_a_stopped_log_is_told_with_its_likely_reason(watched: dict[str, Controller]) -> None:
    end = date(2026, 6, 20)
    for code, method in (("G-1", "logger"), ("G-2", "logger"), ("G-3", "logger"), ("WET", "customer_card")):
        BypassLog.objects.filter(controller=watched[code], end__gt=end).delete()
        BypassLog.objects.filter(controller=watched[code]).update(method=method)
    new = _controller(Location.objects.get(), "NEW-1")
    stopped: list[tuple[Controller, date | None]] = [
        (watched[code], end) for code in ("G-1", "G-2", "G-3", "WET")
    ]

    found = likely_reasons(stopped=[*stopped, (new, None)])

    assert "2 others stopped on the same day" in found[watched["G-1"].pk]
    assert found[watched["WET"].pk] == "the customer has not sent the card"
    assert found[new.pk] == NEVER
    alone = likely_reasons(stopped=stopped[:1])
    assert "battery" in alone[watched["G-1"].pk]
