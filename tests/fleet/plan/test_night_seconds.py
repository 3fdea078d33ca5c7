"""How long the night plans is the company's to say."""

from __future__ import annotations

import pytest
from django.test import Client

from fleet.calc.visits.settings import VisitSettings
from fleet.models import Company, Planning, User
from fleet.selectors.visits.settings_page import settings_in_force
from fleet.services.run_day import work_on
from fleet.services.stage_runs import ask_for_stage
from fleet.services.visits.settings import BadSetting, save_settings
from tests.conftest import DAY, NOW
from tests.factories import build_need, build_site, build_technician

pytestmark = pytest.mark.django_db


def night_planned() -> float:
    """Seconds that the night's planning was given."""
    run = ask_for_stage(stage="plan_routes", scope="all", day=DAY, now=NOW)
    assert work_on(run_id=run.pk, clock=lambda: NOW, seed=1)
    return Planning.objects.latest("pk").seconds


def a_small_week() -> None:
    build_technician()
    build_need(build_site())


def test_the_night_plans_for_the_seconds_that_are_set(company: Company) -> None:
    a_small_week()
    # Shorter than the page takes, so that the test need not wait.
    company.settings = {**company.settings, "visits.planning_s": 0.3}
    company.save()

    assert night_planned() == 0.3


def test_ten_seconds_unless_the_page_says_otherwise_within_its_bounds(
    company: Company, dispatcher: User
) -> None:
    assert VisitSettings().planning_s == settings_in_force().planning_s == 10.0
    client = Client()
    client.force_login(dispatcher)
    for wrong in ("4", "601", "soon"):
        answer = client.post("/prices/keep/", {"planning_s": wrong, "do": "save"})
        assert answer.status_code == 422
        assert "What the planning of the week may take each night" in answer.content.decode()
    for seconds in (4.9, 600.5):
        with pytest.raises(BadSetting, match="expected 5 to 600 s"):
            save_settings(changes={"planning_s": seconds}, by="hana", now=NOW)

    answer = client.post("/prices/keep/", {"planning_s": "90", "do": "save"})

    assert answer.status_code == 302
    assert settings_in_force().planning_s == 90.0
