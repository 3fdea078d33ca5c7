"""Contracts as people keep them: entered, changed, renewed, ended, put back, listed, brought as a file."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fleet.models import Company, Quote, Route, ServiceContract, Stop, User, VisitNeed
from fleet.selectors.company.company import company_day
from fleet.selectors.visits.contract_page import contract_list
from fleet.selectors.visits.contracts import contract_standing
from fleet.services.bring.record_contracts import import_contracts
from fleet.services.visits.contracts import BadContract, ContractInput, put_back_contract, save_contract
from sites.models import Change, Site
from tests.conftest import DAY, NOW
from tests.factories import build_need, build_site, build_technician, build_visit

SignIn = Callable[[User], Client]
pytestmark = pytest.mark.django_db
FORM = {
    "first_day": "2026-04-01", "last_day": "2027-03-31", "price": "320,50", "currency": "usd",
    "notice_days": "60", "visits_start_up": "1", "visits_sensor_check": "2", "visits_any_kind": "",
    "used_start_up": "1",
}  # fmt: skip


def bought(site: Site, *, first: date = date(2026, 4, 1), days: int = 365, **visits: int) -> ServiceContract:
    """A contract with visits by kind; `any_kind` among them."""
    said = ContractInput(
        first,
        first + timedelta(days=days - 1),
        300.0,
        "USD",
        any_kind=visits.pop("any_kind", 0),
        visits=visits,
    )
    done = save_contract(contract_id=None, site_id=site.pk, contract=said, by="ruth", now=NOW, day=DAY)
    return ServiceContract.objects.get(pk=done.contract_id or 0)


def made(site: Site, day: date, *kinds: str, quote: str = "", state: str = "done", **stop: object) -> None:
    """A finished visit of a day that met needs of some kinds."""
    number = Stop.objects.count() + 1
    visit = build_visit(site, week=day - timedelta(days=day.weekday()), number=number)
    for kind in kinds:
        need = build_need(site, f"{kind}/{number}", kind=kind, state=state, closed_on=day)
        if quote:
            need.quote = Quote.objects.create(
                site=site, title="more", state=quote, currency="USD", made_on=day, made_by="hana",
                sent_on=day, valid_until=day,
            )  # fmt: skip
            need.save()
        visit.needs.add(need)
    route = Route.objects.create(
        technician=build_technician(f"T{number}"), day=day, start_at=NOW, end_at=NOW, planned_at=NOW
    )
    given = {"drive_min": 12, "drive_km": 10, "state": "finished", **stop}
    Stop.objects.create(route=route, order=1, visit=visit, arrive=NOW, depart=NOW, **given)


def uses(site: Site, today: date = DAY) -> dict[str, tuple[int, int]]:
    """Used and included by kind as the garden's page tells it."""
    found = contract_standing(site=site, today=today)
    assert found is not None
    return {
        **{one.kind: (one.used, one.included) for one in found.use.kinds},
        "any": (found.use.any_kind.used, found.use.any_kind.included),
    }


def test_done_visits_of_a_kind_use_it_and_what_an_approved_quote_pays_does_not(company: Company) -> None:
    site = build_site()
    bought(site, start_up=1, audit=1, any_kind=1)
    made(site, date(2026, 4, 22), "start_up", "program_change")
    made(site, date(2026, 5, 2), "audit", quote=Quote.State.APPROVED)  # paid apart
    assert uses(site) == {"start_up": (1, 1), "audit": (0, 1), "any": (0, 1)}

    made(site, date(2026, 5, 9), "repair", quote=Quote.State.DECLINED)
    made(site, date(2026, 5, 12), "log_missing")  # our own errand
    made(site, date(2026, 5, 20), "audit", state="open")  # nobody met it: it comes again
    made(site, date(2026, 3, 31), "audit")  # the day before the contract

    assert uses(site) == {"start_up": (1, 1), "audit": (0, 1), "any": (1, 1)}


def test_the_same_rule_stands_on_the_list_and_on_the_renewals(
    company: Company, sign_in: SignIn, manager: User
) -> None:
    site = build_site()
    today = company_day(now=timezone.now())
    bought(site, first=today - timedelta(days=340), audit=1)
    made(site, today - timedelta(days=30), "audit")
    made(site, today - timedelta(days=20), "repair", quote=Quote.State.APPROVED)
    made(site, today - timedelta(days=10), "repair")

    client = sign_in(manager)
    listed = client.get(reverse("fleet:contracts") + "?show=over").content.decode()
    renewals = client.get(reverse("fleet:water-renewals")).content.decode()

    assert "1 of 1" in listed
    assert ">1 visit</b>" in listed
    assert "37" in listed  # (35 + 12) minutes at 42 an hour and 10 km at 0.45: 37.40
    assert "2 / 1" in renewals


def test_a_contract_is_entered_changed_and_put_back_with_its_history(
    company: Company, sign_in: SignIn, dispatcher: User
) -> None:
    site, client = build_site(), sign_in(dispatcher)
    page = client.post(
        reverse("fleet:contract-new"), {"site": site.code, **FORM}, follow=True
    ).content.decode()
    row = ServiceContract.objects.get()
    assert "The contract is entered." in page
    assert (row.price, row.currency, row.ends_on, row.notice_days) == (320.5, "USD", date(2027, 4, 1), 60)
    assert uses(site) == {"start_up": (1, 1), "sensor_check": (0, 2), "any": (0, 0)}

    url = reverse("fleet:contract", args=[row.pk])
    client.post(url, {**FORM, "price": "300", "visits_sensor_check": "", "visits_audit": "1"})
    assert uses(site) == {"start_up": (1, 1), "audit": (0, 1), "any": (0, 0)}
    change = Change.objects.filter(kind="contract").latest("pk")
    assert change.before == {"price": 320.5, "visits_sensor_check": 2, "visits_audit": 0}
    assert (change.by, change.site_code) == (dispatcher.username, site.code)
    assert "320.5" in client.get(url).content.decode()

    client.post(reverse("fleet:contract-back", args=[change.pk]))
    assert uses(site) == {"start_up": (1, 1), "sensor_check": (0, 2), "any": (0, 0)}


def test_a_contract_is_taken_out_and_brought_back_whole(company: Company) -> None:
    site = build_site()
    row = bought(site, start_up=1, any_kind=2)
    entered = Change.objects.get(kind="contract")

    put_back_contract(change_id=entered.pk, by="ruth", now=NOW)
    assert not ServiceContract.objects.exists()
    with pytest.raises(BadContract, match="taken out already"):
        put_back_contract(change_id=entered.pk, by="ruth", now=NOW)
    gone = Change.objects.filter(kind="contract", action="removed").get()
    put_back_contract(change_id=gone.pk, by="ruth", now=NOW)

    again = ServiceContract.objects.get()
    assert (again.pk, again.starts_on, again.visits_included) == (row.pk, row.starts_on, 2)
    assert uses(site) == {"start_up": (0, 1), "any": (0, 2)}


def test_renewing_follows_without_a_gap_and_ending_cuts_the_term_with_a_reason(
    company: Company, sign_in: SignIn, manager: User
) -> None:
    site, client = build_site(), sign_in(manager)
    row = bought(site, first=date(2024, 3, 1), days=365, sensor_check=2)
    step = reverse("fleet:contract-step", args=[row.pk])

    client.post(step, {"do": "renew", "years": "2", "price": "350"})
    following = ServiceContract.objects.latest("pk")
    assert (following.starts_on, following.ends_on, following.price) == (row.ends_on, date(2027, 3, 1), 350)
    assert [(line.kind, line.count) for line in following.included.all()] == [("sensor_check", 2)]
    page = client.post(step, {"do": "renew", "years": "1", "price": "350"}, follow=True).content.decode()
    assert "Nothing was changed" in page

    step = reverse("fleet:contract-step", args=[following.pk])
    page = client.post(step, {"do": "end", "last_day": "2026-06-30", "why": ""}, follow=True).content.decode()
    assert "say in a few words why" in page
    client.post(step, {"do": "end", "last_day": "2026-06-30", "why": "sold the house"})
    following.refresh_from_db()
    assert (following.ends_on, following.ended_why) == (date(2026, 7, 1), "sold the house")

    ended = Change.objects.filter(kind="contract").latest("pk")
    client.post(reverse("fleet:contract-back", args=[ended.pk]))
    following.refresh_from_db()
    assert (following.ends_on, following.ended_why) == (date(2027, 3, 1), "")


@pytest.mark.parametrize(
    ("wrong", "expected"),
    [
        ({"last_day": "2026-03-31"}, "it lies before the first"),
        ({"last_day": "soon"}, "expected a date"),
        ({"price": "cheap"}, "expected a number"),
        ({"price": "-1"}, "expected a number from 0"),
        ({"price": "nan"}, "expected a number from 0"),
        ({"currency": "$"}, "three letters"),
        ({"visits_audit": "many"}, "expected a whole number"),
        ({"visits_audit": "100"}, "from 0 to 99"),
        ({"used_audit": "1"}, "includes no audit"),
        ({"notice_days": "9999"}, "expected days from 0"),
        ({"last_day": "2066-03-31"}, "at most 20 years"),
    ],
)
def test_what_cannot_be_is_refused_by_name_and_kept_in_the_form(
    wrong: dict[str, str], expected: str, company: Company, sign_in: SignIn, dispatcher: User
) -> None:
    site, client = build_site(), sign_in(dispatcher)

    answer = client.post(reverse("fleet:contract-new"), {"site": site.code, **FORM, **wrong})

    assert answer.status_code == 422
    assert expected in answer.content.decode()
    assert 'value="2026-04-01"' in answer.content.decode()
    assert not ServiceContract.objects.exists()


def test_contracts_of_a_garden_never_overlap(company: Company) -> None:
    site = build_site()
    bought(site)
    with pytest.raises(BadContract, match="contract from 2026-04-01 to 2027-03-31 already"):
        bought(site, first=date(2027, 3, 31))

    bought(site, first=date(2027, 4, 1))
    assert ServiceContract.objects.count() == 2


def test_a_technician_opens_none_of_it(company: Company, sign_in: SignIn, technician_user: User) -> None:
    row, client = bought(build_site()), sign_in(technician_user)

    for name, words in (
        ("contracts", []),
        ("contracts-csv", []),
        ("contract", [row.pk]),
        ("contract-new", []),
    ):
        assert client.get(reverse(f"fleet:{name}", args=words)).status_code in (403, 404), name


def test_the_list_goes_by_renewal_and_filters_what_needs_a_word(company: Company) -> None:
    due, over, idle, ended, renewed = (build_site(code) for code in ("A", "B", "C", "D", "E"))
    bought(due, first=DAY - timedelta(days=300), audit=1)
    made(due, DAY - timedelta(days=9), "audit")
    bought(over, first=DAY - timedelta(days=200), audit=1)
    for days in (3, 4, 5):
        made(over, DAY - timedelta(days=days), "audit")
    bought(idle, first=DAY - timedelta(days=250), audit=1)
    bought(ended, first=DAY - timedelta(days=400))
    bought(renewed, first=DAY - timedelta(days=300))
    bought(renewed, first=DAY + timedelta(days=65))
    build_site("F")

    def codes(show: str, words: str = "") -> list[str]:
        found = contract_list(show=show, words=words, today=DAY, number=1)
        return [one.contract.site.code for one in found.rows]

    assert codes("all") == ["A", "E", "C", "B", "E"]
    assert codes("due") == ["A"]
    assert codes("over") == ["B"]
    assert codes("unused") == ["C"]
    assert codes("ended") == ["D"]
    assert codes("all", "nobody") == []
    found = contract_list(show="all", words="", today=DAY, number=1)
    assert (found.running, found.beyond, found.without) == (4, 2, 2)


def test_the_list_asks_as_often_for_a_hundred_gardens_as_for_one(company: Company) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            contract_list(show="over", words="", today=DAY, number=1)
        return len(queries)

    bought(build_site("S0"), audit=1)
    few = asked()
    for number in range(1, 100):
        bought(build_site(f"S{number}"), audit=1)

    assert asked() == few


def test_a_file_that_goes_out_comes_back_unchanged(
    company: Company, sign_in: SignIn, manager: User, tmp_path: Path
) -> None:
    site = build_site()
    bought(site, start_up=1, sensor_check=2, any_kind=1)
    bought(site, first=date(2027, 4, 1), audit=1)
    text = sign_in(manager).get(reverse("fleet:contracts-csv")).content.decode()
    (tmp_path / "contracts.csv").write_text(text, encoding="utf-8")

    report = import_contracts(path=tmp_path / "contracts.csv", by="ruth", now=NOW)

    assert (report.added, report.changed, report.unchanged, report.problems) == (0, 0, 2, ())
    rows = list(csv.DictReader(io.StringIO(text)))
    assert (rows[0]["last_day"], rows[0]["visits_sensor_check"]) == ("2027-03-31", "2")


def test_a_file_changes_and_adds_and_names_each_wrong_cell(company: Company, tmp_path: Path) -> None:
    site, other = build_site("A"), build_site("B")
    bought(site, audit=1)
    head = "site,first_day,last_day,price_per_year,visits_audit,used_audit\n"
    path = tmp_path / "contracts.csv"
    path.write_text(
        head + "A,2026-04-01,2027-03-31,333,2,1\nB,2026-05-01,2027-04-30,200,1,\n", encoding="utf-8"
    )

    report = import_contracts(path=path, by="ruth", now=NOW)
    assert (report.added, report.changed) == (1, 1)
    assert uses(site) == {"audit": (1, 2), "any": (0, 0)}
    assert ServiceContract.objects.get(site=other).currency == "USD"  # the company's
    assert Change.objects.filter(kind="contract", by="ruth").count() == 3

    path.write_text(
        head + "A,2026-09-01,2027-08-31,333,2,\nZ,2026-04-01,2027-03-31,1,1,\nB,2026-05-01,2026-04-01,2,1,\n"
        "B,2028-01-01,2028-12-31,2,x,\nB,2029-01-01,2029-12-31,2,,3\n",
        encoding="utf-8",
    )
    refused = import_contracts(path=path, by="ruth", now=NOW)
    told = [str(problem) for problem in refused.problems]

    assert not refused.written
    assert sorted(told) == sorted([
        ("contracts.csv: row 2, column first_day: '2026-09-01': expected days beside the garden's contract "
        "from 2026-04-01 to 2027-03-31"),
        "contracts.csv: row 3, column site: 'Z': expected a site of the book",
        "contracts.csv: row 4, column last_day: '2026-04-01': expected 2026-05-01 or a later day",
        "contracts.csv: row 5, column visits_audit: 'x': expected a whole number from 0 to 99",
        ("contracts.csv: row 6, column used_audit: '3': expected 0, since visits_audit is 0; count it under "
        "used_any_kind"),
    ])  # fmt: skip
    kept = import_contracts(path=path, by="ruth", now=NOW, keep_good=True)
    assert (kept.added, kept.changed) == (0, 0)
    assert VisitNeed.objects.count() == 0
