"""What visits and logs saw goes into the next round: turf, single stations, the sensor's own log."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from sites.models import (
    BypassLog,
    Change,
    Controller,
    Recommendation,
    RecommendationLine,
    Site,
    Zone,
)
from sites.services.balance import update_balance
from sites.services.found_on_site import set_threshold
from sites.services.note_turf import TurfNoted, UnknownStation, note_turf
from tests.factories import build_controller, build_zone
from tests.sites.search.test_weekly_round_service import NOW, WEEK, garden, run

__all__ = ["garden"]
pytestmark = pytest.mark.django_db


def test_what_a_visit_saw_of_the_turf_moves_the_threshold_and_a_new_setting_forgets_it(
    garden: Controller,
) -> None:
    garden.sensor.installed_on = date(2026, 4, 1)
    garden.sensor.threshold_kpa = 40.0
    garden.sensor.threshold_steps_kpa = "24;32;40;52"
    garden.sensor.save()
    note_turf(
        site_id=garden.site_id, controller_id=None, turf="evenly_dry", on=date(2026, 6, 10), by="ines", at=NOW
    )

    run()
    answer = Recommendation.objects.get()
    assert (answer.threshold_kpa_now, answer.threshold_kpa) == (40.0, 32.0)
    assert any("evenly dry" in reason for reason in answer.reasons)
    assert Change.objects.get(kind="turf").after == {"turf": "evenly_dry"}

    set_threshold(controller_id=garden.pk, threshold_kpa=32.0, by="ines", at=NOW)
    run()
    again = Recommendation.objects.get()
    assert (again.threshold_kpa_now, again.threshold_kpa) == (32.0, 32.0)


def keep_log(controller: Controller, *, days: int) -> None:
    """A logger's rows: three starts a day, of which two ran on every other day."""
    BypassLog.objects.all().delete()
    first = WEEK - timedelta(days=days)
    BypassLog.objects.bulk_create(
        BypassLog(
            controller=controller, start=first + timedelta(days=n), end=first + timedelta(days=n + 1),
            starts_scheduled=3, starts_bypassed=1 if n % 2 == 0 else 3,
        )
        for n in range(days)
    )  # fmt: skip
    Site.objects.update(stale_from=WEEK - timedelta(days=42))
    update_balance(until_day=date(2026, 6, 14))


def test_the_sensors_log_speaks_for_what_its_zone_really_gets(garden: Controller) -> None:
    keep_log(garden, days=42)
    run()
    logged = Recommendation.objects.get(controller=garden)
    said = [words for words in logged.reasons if words.startswith("By the sensor’s log")]
    keep_log(garden, days=10)
    run()
    few = Recommendation.objects.get(controller=garden).reasons

    assert len(said) == 1
    assert "runs bring station 2 about" in said[0]
    assert not any(words.startswith("By the sensor’s log") for words in few)


def lawn_depth_mm() -> float:
    lines = RecommendationLine.objects.filter(station__lte=2).values_list("week_depth_mm", flat=True)
    return sum(depth or 0.0 for depth in lines)


def test_by_the_clock_alone_a_visit_that_saw_dry_or_soggy_lawns_moves_their_demand(
    garden: Controller,
) -> None:
    Controller.objects.update(governed=False)

    def see(turf: str, after_days: int = 0) -> list[float]:
        on, at = WEEK + timedelta(days=after_days), NOW + timedelta(days=after_days)
        note_turf(site_id=garden.site_id, controller_id=garden.pk, turf=turf, on=on, by="ines", at=at)
        return list(Zone.objects.order_by("station").values_list("margin_factor", flat=True))

    run()
    before = lawn_depth_mm()
    assert see("good") == [1.0, 1.0, 1.0]
    assert see("patchy") == [1.0, 1.0, 1.0]
    assert see("evenly_dry") == [1.1, 1.1, 1.0]  # lawns only
    run()
    after = lawn_depth_mm()
    assert after > before
    assert see("soggy") == [0.99, 0.99, 1.0]
    for times in range(1, 10):
        least = see("soggy", 14 * times)
    assert least == [0.7, 0.7, 1.0]
    assert Change.objects.filter(kind="turf").count() >= 3


def see_stations(
    garden: Controller, after_days: int = 0, dry: tuple[int, ...] = (), soggy: tuple[int, ...] = ()
) -> TurfNoted:
    on, at = WEEK + timedelta(days=after_days), NOW + timedelta(days=after_days)
    return note_turf(
        site_id=garden.site_id,
        controller_id=garden.pk,
        turf="",
        on=on,
        by="ines",
        at=at,
        dry=dry,
        soggy=soggy,
    )


def factors() -> list[float]:
    return list(Zone.objects.order_by("station").values_list("margin_factor", flat=True))


def test_beside_the_sensor_a_zone_seen_dry_gets_longer_runs_and_the_sensors_own_a_wetter_step(
    garden: Controller,
) -> None:
    # Common practice, no source: what the sensor cannot feel is the other zones' ratio to its own.
    def week_depth_mm() -> dict[int, float]:
        run()
        lines = RecommendationLine.objects.values_list("station", "week_depth_mm")
        return {station: depth or 0.0 for station, depth in lines}

    before = week_depth_mm()
    see_stations(garden, dry=(1,))
    after = week_depth_mm()

    assert factors() == [1.1, 1.0, 1.0]
    assert after[1] > before[1]
    assert garden.sensor.turf_seen == ""
    see_stations(garden, soggy=(2, 3))
    garden.sensor.refresh_from_db()
    assert garden.sensor.turf_seen == "soggy"
    assert factors() == [1.1, 1.0, 0.9]


def test_a_factor_moved_by_a_visit_is_held_for_two_weeks(garden: Controller) -> None:
    see_stations(garden, dry=(1,))

    assert see_stations(garden, 5, dry=(1,)).held == (1,)
    assert factors()[0] == 1.1
    assert see_stations(garden, 14, dry=(1,)).held == ()
    assert factors()[0] == 1.21
    # The other way is no second step: what was too much is taken back at once.
    assert see_stations(garden, 16, soggy=(1,)).held == ()
    assert factors()[0] == pytest.approx(1.089)


@pytest.mark.parametrize(
    ("dry", "soggy", "words"),
    [((9,), (), "station 9 waters nothing"), ((1,), (1,), "dry and soggy at once")],
)
def test_a_station_that_cannot_be_meant_is_refused(
    garden: Controller, dry: tuple[int, ...], soggy: tuple[int, ...], words: str
) -> None:
    with pytest.raises(UnknownStation, match=words):
        see_stations(garden, dry=dry, soggy=soggy)
    assert factors() == [1.0, 1.0, 1.0]


def test_with_two_controllers_somebody_says_of_which_the_station_is(garden: Controller) -> None:
    build_zone(build_controller(garden.site, "B"), 1)

    with pytest.raises(UnknownStation, match="which controller"):
        note_turf(site_id=garden.site_id, controller_id=None, turf="", on=WEEK, by="ines", at=NOW, dry=(1,))
