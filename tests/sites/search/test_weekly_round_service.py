"""The weekly round from the database and back: run twice, decisions kept, its export taken by the import."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from sites.exports import programs as programs_export
from sites.models import (
    Controller,
    ProgramLine,
    ProgramSet,
    Recommendation,
    RecommendationLine,
    RuleSet,
    RuleStage,
    Site,
)
from sites.services.balance import update_balance
from sites.services.programs import decide_program, freeze_programs
from sites.services.record_programs import import_programs
from sites.services.weekly_round import RoundReport, UnknownSites, weekly_round
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from weather.models import DailyWeather, Location

pytestmark = pytest.mark.django_db
WEEK = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 13, 30, tzinfo=UTC)


def fill(location: Location, first: date, last: date) -> None:
    """A dry, warm spell of days."""
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location, day=day, issued=day, source="test", fetched_at=NOW, tmin_c=9.0, tmax_c=27.0,
            eto_mm=5.0 + 0.1 * (day.year % 5), eto_sd_mm=0.4, rain_mm=0.0,
            rain_used_mm=12.0 if day.day == 20 else 0.0, rain_sd_mm=0.5,
        )
        for day in days
    )  # fmt: skip
    Location.objects.filter(pk=location.pk).update(newest_day=last)


def set_program(controller: Controller, rows: list[tuple[int, float]], *, starts: str = "04:00") -> None:
    setting = ProgramSet.objects.create(controller=controller, as_of=date(2026, 4, 10))
    for order, (station, minutes) in enumerate(rows, start=1):
        ProgramLine.objects.create(
            program_set=setting, letter="A", days="daily", starts=starts, station=station, run_min=minutes,
            run_order=order,
        )  # fmt: skip


@pytest.fixture
def garden() -> Controller:
    """A governed garden of three zones whose timer runs far too long, with five seasons of weather."""
    location = build_location()
    for year in range(2021, 2026):
        fill(location, date(year, 6, 10), date(year, 7, 20))
    fill(location, date(2026, 4, 10), date(2026, 6, 14))
    controller = build_controller(build_site(location=location), station_count=6)
    build_zone(controller, 1)
    build_zone(controller, 2)
    build_zone(controller, 3, plant="shrubs", head="dripline")
    build_sensor(controller, 2)
    set_program(controller, [(1, 25), (2, 25), (3, 60)], starts="04:00;06:00;21:00")
    update_balance(until_day=date(2026, 6, 14))
    return controller


def run() -> RoundReport:
    return weekly_round(week=WEEK, today=WEEK, price_per_m3=2.5)


def rows() -> list[tuple[object, ...]]:
    return list(
        RecommendationLine.objects.order_by(
            "recommendation__controller_id", "letter", "run_order"
        ).values_list("letter", "days", "starts", "station", "run_min", "adequacy_pct", "week_depth_mm")
    )


def test_the_round_writes_one_recommendation_a_controller_with_its_figures(garden: Controller) -> None:
    report = run()

    found = Recommendation.objects.get(controller=garden, week=WEEK)
    assert (report.controllers, report.changes, report.left_out) == (1, 1, ())
    assert found.is_change
    assert found.reasons[0].startswith("Stations 1, 2, 3 now run past the run-off limit")
    assert found.water_at_stake_l > 0
    assert found.money_at_stake == pytest.approx(found.water_at_stake_l / 1000 * 2.5)
    assert found.lost_pct is not None
    assert found.lost_pct_now is not None
    assert found.lost_pct < found.lost_pct_now
    assert found.adequacy_pct is not None
    assert found.adequacy_pct > 95
    assert 0 <= (found.expected_bypass_rate or 0) <= 1
    assert found.seasons_used == 5
    assert not found.short_history
    for line in found.lines.all():
        assert line.run_min == round(line.run_min)
        assert line.runoff_limit_min is None or line.run_min <= line.runoff_limit_min
    own = found.lines.get(station=2)
    assert not found.lines.filter(letter=own.letter, run_order__gt=own.run_order).exists()


def test_a_second_run_changes_nothing(garden: Controller) -> None:
    run()
    first, ids = rows(), list(Recommendation.objects.values_list("pk", "reasons"))

    run()

    assert rows() == first
    assert list(Recommendation.objects.values_list("pk", "reasons")) == ids


def test_a_decision_stays_whatever_the_round_finds_later(garden: Controller) -> None:
    run()
    found = Recommendation.objects.get()
    decide_program(recommendation_id=found.pk, status="held", by="hana", at=NOW)
    before = rows()
    ProgramLine.objects.filter(station=1).update(run_min=3)

    run()

    found.refresh_from_db()
    assert found.status == "held"
    assert rows() == before


def test_the_export_drops_into_the_import_and_then_nothing_is_to_change(
    garden: Controller, tmp_path: Path
) -> None:
    run()
    path = tmp_path / "programs.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, programs_export.COLUMNS)
        writer.writeheader()
        writer.writerows(programs_export.rows(week=WEEK))

    report = import_programs(path=path, by="hana", now=NOW)
    again = weekly_round(week=WEEK + timedelta(days=7), today=WEEK, price_per_m3=2.5)

    assert report.problems == ()
    assert report.added == 1
    assert again.changes == 0
    kept = Recommendation.objects.get(week=WEEK + timedelta(days=7))
    newest = ProgramSet.objects.filter(controller=garden).latest("as_of")
    set_now = sorted(newest.lines.values_list("letter", "starts", "station", "run_min"))
    assert sorted(kept.lines.values_list("letter", "starts", "station", "run_min")) == set_now
    assert "good enough" in " ".join(kept.reasons)


def test_a_frozen_site_keeps_its_program_and_is_told_so(garden: Controller) -> None:
    freeze_programs(site_id=garden.site_id, is_frozen=True, by="hana", at=NOW)

    run()

    found = Recommendation.objects.get()
    assert not found.is_change
    assert any("by a person's decision" in reason for reason in found.reasons)


def test_a_site_without_weather_is_left_out_with_its_reason(garden: Controller) -> None:
    build_zone(build_controller(build_site("CB-15")), 1)

    report = run()

    assert report.left_out == (("CB-15", "no weather"),)
    assert report.controllers == 1


def test_a_rule_by_house_number_cannot_be_kept_at_an_address_without_one(garden: Controller) -> None:
    rules = RuleSet.objects.create(code="odd-even")
    for name in ("odd", "even"):
        spec = {"name": name, "address_rule": name, "dates": name}
        RuleStage.objects.create(rule_set=rules, name=name, spec=spec)
    Site.objects.filter(pk=garden.site_id).update(rule_set="odd-even", address="Old Mill")

    run()

    found = Recommendation.objects.get()
    assert not found.is_change
    assert found.binding_limit == "the address shows no house number"


def test_no_program_is_issued_under_rules_that_the_book_does_not_hold(garden: Controller) -> None:
    Site.objects.filter(pk=garden.site_id).update(rule_set="town-2026")

    run()

    found = Recommendation.objects.get()
    assert not found.is_change
    assert found.binding_limit == "the watering rules town-2026 are not in the book"

    RuleSet.objects.create(code="town-2026")
    run()

    assert Recommendation.objects.get().binding_limit != found.binding_limit


def test_a_book_without_any_weather_is_told_site_by_site(garden: Controller) -> None:
    Site.objects.update(location=None)

    done = run()

    assert done.controllers == 0
    assert done.left_out == (("CB-14", "no weather"),)


def test_a_code_that_names_no_site_is_refused(garden: Controller) -> None:
    with pytest.raises(UnknownSites, match="XX-2"):
        weekly_round(week=WEEK, today=WEEK, price_per_m3=2.5, site_codes=[garden.site.code, "XX-2"])


def test_few_seasons_are_filled_from_recent_days_and_marked(garden: Controller) -> None:
    DailyWeather.objects.filter(day__year__lt=2024).delete()

    run()

    found = Recommendation.objects.get()
    assert found.short_history
    assert found.seasons_used == 2


def test_only_the_sites_asked_for_are_computed(garden: Controller) -> None:
    build_site("XX-1")
    assert weekly_round(week=WEEK, today=WEEK, price_per_m3=2.5, site_codes=["XX-1"]).controllers == 0
    assert weekly_round(week=WEEK, today=WEEK, price_per_m3=2.5, site_codes=["CB-14"]).controllers == 1


def test_a_controller_whose_program_nobody_told_gets_one(garden: Controller) -> None:
    ProgramSet.objects.all().delete()

    run()

    found = Recommendation.objects.get()
    assert found.is_change
    assert found.adequacy_pct_now is None
    assert found.reasons[0] == "Nobody told what the timer is set to now."
    assert found.water_at_stake_l == 0


def test_weather_of_the_week_itself_is_not_known_before_it_comes(garden: Controller) -> None:
    run()
    before = rows()
    fill(garden.site.location, WEEK, WEEK + timedelta(days=6))  # type: ignore[arg-type]
    DailyWeather.objects.filter(day__gte=WEEK).update(eto_mm=14.0)

    run()

    assert rows() == before
