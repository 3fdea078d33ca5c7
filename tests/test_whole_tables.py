"""What is added to a list stands in every table beside it; these tests lead from place to place."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings

from fleet.calc.on_site.checks import BY_CAUSE, BY_KIND
from fleet.calc.stage_words import NIGHT_WORDS, STAGE_WORDS
from fleet.calc.visits.setting_facts import FACT_OF
from fleet.calc.visits.settings import VisitSettings, planned_min
from fleet.calc.visits.value import SERVICE_MIN, SKILLS
from fleet.calc.watch.evidence import CAUSE_WORDS
from fleet.calc.watch.settings import CAUSES
from fleet.calc.watch.states import ALL_CAUSES
from fleet.charts.watch_plots import CLASSES
from fleet.demo.truth import FAULTS
from fleet.models import Cause, VisitKind
from fleet.selectors.on_site.visit_report import CAME_FOR
from fleet.selectors.on_site.visit_report import CAUSES as TOLD_CAUSES
from fleet.services.run_day import PARTS, STAGES
from tests.weather.sources.test_every_fault import SOURCES
from weather.calc.source_chain import FORECAST_ORDER, OBSERVED_ORDER, SOURCE_WORDS
from weather.sources.registry import KNOWN

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.parametrize("kind", VisitKind.values)
def test_a_kind_of_visit_has_minutes_checks_and_words(kind: str) -> None:
    assert SERVICE_MIN[kind] > 0
    assert planned_min(VisitSettings(), kind) == SERVICE_MIN[kind]
    assert f"min_{kind}" in FACT_OF
    assert BY_KIND[kind], "what is checked at the stop"
    assert CAME_FOR[kind], "what the customer reads"


def test_what_a_worker_does_has_words() -> None:
    assert list(NIGHT_WORDS) == list(STAGES)
    assert set(PARTS) <= set(STAGE_WORDS)


def test_tables_of_visits_hold_no_kind_that_is_gone() -> None:
    for table in (SERVICE_MIN, SKILLS, BY_KIND, CAME_FOR):
        assert set(table) <= set(VisitKind.values)


@pytest.mark.parametrize("cause", ALL_CAUSES)
def test_a_fault_has_words_checks_and_a_place_in_the_plot(cause: str) -> None:
    assert cause in Cause.values
    assert CAUSE_WORDS[cause], "in the evidence"
    assert TOLD_CAUSES[cause], "what the customer reads"
    assert BY_CAUSE[cause], "what is checked at the stop"
    assert cause not in CAUSES or cause in CLASSES
    assert cause not in CAUSES or cause in FAULTS, "the demo has a garden with it"


def test_plots_have_a_colour_for_every_fault() -> None:
    css = "".join(path.read_text("utf-8") for path in (ROOT / "fleet/static/fleet/css").rglob("*.css"))

    for name in CLASSES.values():
        assert re.search(rf"\.{name}\b", css), name


@pytest.mark.parametrize("name", KNOWN)
def test_a_weather_source_has_an_address_an_order_and_its_faults_played(name: str) -> None:
    assert name in settings.SOURCE_URLS
    assert name in OBSERVED_ORDER + FORECAST_ORDER
    assert name in SOURCE_WORDS
    assert KNOWN[name].notice
    assert name in SOURCES, "faults of tests/weather/sources/test_every_fault.py"
