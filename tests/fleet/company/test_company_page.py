"""A company of one's own: founded at the page or by a command, its clock, its money, and back again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, StageRun, User
from fleet.selectors.company.company import company_day
from fleet.services.company.company import BadCompany, CompanyFacts
from fleet.services.run_day import NIGHT
from fleet.services.visits.settings import BadSetting, save_settings
from fleet.tasks import start_what_is_due
from sites.models import Change, Site
from tests.conftest import NOW
from tests.factories import build_site

SignIn = Callable[[User], Client]
pytestmark = pytest.mark.django_db
PAGE = "/company/"
TOLD = {"name": "Quill & Reed Gardens", "timezone": "America/Denver", "currency": "usd"}


@pytest.fixture
def client(sign_in: SignIn) -> Client:
    """An administrator of an installation that holds nothing."""
    return sign_in(User.objects.create_user("leah", role=User.Role.ADMINISTRATOR))


def said(client: Client, told: dict[str, Any]) -> str:
    """The page after a form was sent."""
    return str(client.post(PAGE, told, follow=True).content.decode())


def test_an_empty_installation_leads_to_its_founding_and_then_on(client: Client) -> None:
    first = client.get("/", follow=True).content.decode()
    assert f'class="btn main" href="{PAGE}"' in first
    assert "Found the company first" in first

    page = said(client, TOLD)

    company = Company.objects.get()
    assert (company.name, company.timezone, company.currency) == (TOLD["name"], "America/Denver", "USD")
    assert not company.is_demo
    assert "The company is founded" in page
    assert f'class="btn main" href="{reverse("fleet:bring")}"' in page
    assert "no company is founded" not in page


def test_the_night_runs_once_there_is_a_company(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[int] = []
    monkeypatch.setattr("fleet.tasks._send", sent.append)
    monkeypatch.setattr("fleet.tasks.timezone.now", lambda: datetime(2026, 6, 15, 23, 0, tzinfo=UTC))
    start_what_is_due()
    assert not StageRun.objects.filter(stage=NIGHT).exists()

    said(client, TOLD)
    start_what_is_due()

    night = StageRun.objects.get(stage=NIGHT)
    assert night.day.isoformat() == "2026-06-15"
    assert sent == [night.pk]


def test_the_day_goes_by_the_companys_clock(client: Client) -> None:
    late = datetime(2026, 6, 16, 4, 0, tzinfo=UTC)
    assert company_day(now=late).isoformat() == "2026-06-16"

    said(client, TOLD)

    assert company_day(now=late).isoformat() == "2026-06-15"


def test_prices_are_kept_once_there_is_a_company(client: Client) -> None:
    with pytest.raises(BadSetting, match="founds it under Company"):
        save_settings(changes={"cost_per_hour": 50.0}, by="ruth", now=NOW)
    said(client, TOLD)

    assert save_settings(changes={"cost_per_hour": 50.0}, by="ruth", now=NOW).changed == ("cost_per_hour",)


def test_gardens_that_came_first_get_the_clock_and_later_ones_keep_theirs(client: Client) -> None:
    build_site("CB-14", timezone="UTC")
    build_site("QT-02", timezone="America/Phoenix")

    page = said(client, TOLD)

    assert "1 gardens" not in page
    assert "1 garden that came in without a clock has its own now" in page
    assert dict(Site.objects.values_list("code", "timezone")) == {
        "CB-14": "America/Denver",
        "QT-02": "America/Phoenix",
    }
    assert Change.objects.get(kind="site").after == {"timezone": "America/Denver"}
    said(client, TOLD | {"timezone": "America/Chicago"})
    assert Site.objects.get(code="CB-14").timezone == "America/Denver"


def test_a_change_stands_in_the_history_and_is_put_back(client: Client) -> None:
    said(client, TOLD | {"depot_latitude": "41,2", "depot_longitude": "-104.7"})
    said(client, TOLD | {"name": "Other words", "depot_latitude": "41.2", "depot_longitude": "-104.7"})
    entry = Change.objects.filter(kind="company").latest("pk")
    assert (entry.before, entry.after) == ({"name": TOLD["name"]}, {"name": "Other words"})
    assert entry.by == "leah"

    page = said(client, {"back": entry.pk})

    company = Company.objects.get()
    assert company.name == TOLD["name"]
    assert (company.depot_latitude, company.depot_longitude) == (41.2, -104.7)
    assert page.count("Put back") == 2
    assert "There was nothing before" in said(client, {"back": Change.objects.earliest("pk").pk})
    assert "There was nothing before" in said(client, {"back": "9" * 30})


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("name", " ", "Name: expected 1 to 120"),
        ("name", "x" * 121, "Name: expected 1 to 120"),
        ("name", "a\nb", "Name: expected 1 to 120"),
        ("timezone", "Mars/Olympus", "Time zone: expected"),
        ("timezone", "../../etc/passwd", "Time zone: expected"),
        ("currency", "dollar", "Currency: expected three letters"),
        ("currency", "€€€", "Currency: expected three letters"),
        ("depot_latitude", "north", "is no number of degrees"),
        ("depot_latitude", "41", "expected both latitude and longitude"),
        ("depot_latitude", "nan", "expected both latitude and longitude"),
    ],
)
def test_what_cannot_be_kept_is_told_and_what_was_typed_stays(
    client: Client, field: str, value: str, words: str
) -> None:
    answer = client.post(PAGE, TOLD | {"name": "Typed words", field: value})

    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert field == "name" or 'value="Typed words"' in page
    assert not Company.objects.exists()


@pytest.mark.parametrize("place", [(91.0, 0.0), (0.0, 181.0), (float("nan"), 0.0)])
def test_a_depot_lies_on_the_earth(place: tuple[float, float]) -> None:
    with pytest.raises(BadCompany):
        CompanyFacts("Quill", "UTC", "USD", *place)
