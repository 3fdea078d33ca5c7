"""Quotes: their states and steps, undo, expiry, and the visit that waits for the customer's word."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from fleet.models import Company, Part, PartForKind, Quote, QuoteLine, User, VisitNeed
from fleet.selectors.visits.quotes import money_of
from fleet.services.visits.quotes import (
    BadQuote,
    LineInput,
    QuoteInput,
    save_quote,
    start_quote,
    step_quote,
    undo_quote_step,
)
from fleet.services.visits.raise_needs import refresh_prerequisites
from sites.models import Change
from tests.conftest import DAY, NOW
from tests.factories import build_need, build_site

SignIn = Callable[[User], Client]
WHO: dict[str, Any] = {"by": "hana", "now": NOW, "day": DAY}


def a_quote() -> Quote:
    """A draft for a repair, with one line."""
    site = build_site()
    made = start_quote(site_id=site.pk, need_id=None, kind="repair", reason="second controller", **WHO)
    lines = [LineInput("Controller", 1, "piece", 240.0), LineInput("Work", 1.5, "h", 80.0)]
    save_quote(quote_id=made.quote_id, quote=QuoteInput("Controller", "", 0.08, lines), **WHO)
    return Quote.objects.get()


def step(quote: Quote, name: str, **other: Any) -> str:
    """State after a step."""
    given = {"valid_until": DAY + timedelta(days=10), "how": "on the phone", **WHO, **other}
    return step_quote(quote_id=quote.pk, step=name, **given).state


@pytest.mark.django_db
def test_a_visit_waits_for_the_word_and_is_free_with_it(company: Company) -> None:
    quote = a_quote()
    need = VisitNeed.objects.get()

    def blocked() -> str:
        need.refresh_from_db()
        return need.blocked_by

    assert blocked() == f"The customer's approval: quote Q-{quote.pk} is a draft. Send it."
    assert step(quote, "send") == "sent"
    assert "waits for the customer" in blocked()
    assert step(quote, "approve") == "approved"
    assert blocked() == ""
    undo_quote_step(quote_id=quote.pk, **WHO)
    assert "waits for the customer" in blocked()
    assert undo_quote_step(quote_id=quote.pk, **WHO).state == "draft"  # step by step, never forth again
    step(quote, "send")
    assert step(quote, "decline") == "declined"
    assert "declined" in blocked()
    assert step(quote, "send") == "sent"  # offered again
    assert [
        (one.after or {})["state"]
        for one in Change.objects.filter(kind="quote", after__has_key="state").order_by("pk")
    ] == ["draft", "sent", "approved", "sent", "draft", "sent", "declined", "sent"]


@pytest.mark.django_db
def test_a_quote_may_be_approved_on_its_last_day_and_expires_after_it(company: Company) -> None:
    quote = a_quote()
    last = DAY + timedelta(days=3)
    step(quote, "send", valid_until=last)

    refresh_prerequisites(day=last)
    quote.refresh_from_db()
    assert quote.state == "sent"
    with pytest.raises(BadQuote, match="expired"):
        step(quote, "approve", day=last + timedelta(days=1))
    refresh_prerequisites(day=last + timedelta(days=1))
    assert "expired" in VisitNeed.objects.get().blocked_by
    undo_needs_a_step = Quote.objects.get()
    assert undo_needs_a_step.state == "expired"
    assert step(quote, "send", day=last + timedelta(days=1), valid_until=last + timedelta(days=9)) == "sent"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("first", "name", "other", "words"),
    [
        ((), "approve", {}, "cannot be approved now"),
        ((), "sing", {}, "expected send"),
        ((), "send", {"valid_until": None}, "today or a later day"),
        ((), "send", {"valid_until": DAY - timedelta(days=1)}, "today or a later day"),
        (("send",), "approve", {"how": " "}, "who gave the word"),
        (("send", "approve"), "decline", {}, "cannot be declined now"),
    ],
)
def test_a_step_that_cannot_be_is_refused_by_its_reason(
    company: Company, first: tuple[str, ...], name: str, other: dict[str, Any], words: str
) -> None:
    quote = a_quote()
    for one in first:
        step(quote, one)

    with pytest.raises(BadQuote, match=words):
        step(quote, name, **other)


@pytest.mark.django_db
def test_only_drafts_change_and_empty_ones_are_not_sent(company: Company) -> None:
    quote = a_quote()
    step(quote, "send")
    with pytest.raises(BadQuote, match="Only a draft"):
        save_quote(quote_id=quote.pk, quote=QuoteInput("x"), **WHO)
    undo_quote_step(quote_id=quote.pk, **WHO)
    save_quote(quote_id=quote.pk, quote=QuoteInput("x"), **WHO)
    with pytest.raises(BadQuote, match="no line"):
        step(quote, "send")
    with pytest.raises(BadQuote, match="no step"):
        undo_quote_step(quote_id=quote.pk, **WHO)


@pytest.mark.django_db
def test_an_approval_is_not_taken_back_after_the_work(company: Company) -> None:
    quote = a_quote()
    step(quote, "send")
    step(quote, "approve")
    VisitNeed.objects.update(state="done", closed_on=DAY)

    with pytest.raises(BadQuote, match="done already"):
        undo_quote_step(quote_id=quote.pk, **WHO)


@pytest.mark.django_db
def test_a_needs_parts_are_the_first_lines_and_a_need_has_one_quote(company: Company) -> None:
    part = Part.objects.create(code="sensor", name="sensor", price=80.0)
    PartForKind.objects.create(kind="sensor_install", part=part, count=2)
    need = build_need(build_site(), kind="sensor_install")

    start_quote(site_id=need.site_id, need_id=need.pk, kind="", reason="", **WHO)

    line = QuoteLine.objects.get()
    assert (line.words, line.count, line.total) == ("Sensor", 2, 160.0)
    with pytest.raises(BadQuote, match="already"):
        start_quote(site_id=need.site_id, need_id=need.pk, kind="", reason="", **WHO)
    with pytest.raises(BadQuote, match="why somebody must go"):
        start_quote(site_id=need.site_id, need_id=None, kind="repair", reason=" ", **WHO)


def test_money_is_what_stands_on_paper() -> None:
    """By hand: 3 x 0.335 = 1.005, on paper 1.00 or 1.01; 1 x 10 = 10; tax 8 % of the sum."""
    lines = (QuoteLine(count=1.5, unit_price=80.0), QuoteLine(count=1, unit_price=240.0))

    found = money_of(lines, 0.08)

    assert (found.net, found.tax, found.total) == (360.0, 28.8, 388.8)


@given(st.lists(st.tuples(st.floats(0.01, 999), st.floats(0, 999)), max_size=9), st.floats(0, 0.5))
def test_the_sum_is_that_of_the_printed_lines(rows: list[tuple[float, float]], tax: float) -> None:
    lines = tuple(QuoteLine(count=count, unit_price=price) for count, price in rows)

    found = money_of(lines, tax)

    assert found.net == pytest.approx(sum(round(line.total, 2) for line in lines), abs=0.005)
    assert 0 <= found.tax <= found.net * 0.5 + 0.01


@pytest.mark.django_db
def test_the_pages_lead_from_a_need_to_the_approved_visit(
    sign_in: SignIn, company: Company, dispatcher: User
) -> None:
    client = sign_in(dispatcher)
    need = build_need(build_site(), kind="repair", reason="new controller")

    made = client.post(reverse("fleet:quote-new"), {"need": need.pk})
    quote = Quote.objects.get()
    url = reverse("fleet:quote", args=[quote.pk])
    assert made["Location"] == url
    bad = client.post(url, {"title": "Controller", "words-0": "Work", "count-0": "x"})
    assert bad.status_code == 422
    assert "expected a number" in bad.content.decode()
    client.post(
        url, {"title": "Controller", "words-0": "Work", "count-0": "2", "price-0": "80,5", "tax": "10"}
    )
    paper = client.get(reverse("fleet:quote-paper", args=[quote.pk])).content.decode()
    assert "177.10" in paper
    client.post(reverse("fleet:quote-step", args=[quote.pk]), {"do": "send", "valid_until": "2026-07-15"})
    done = client.post(
        reverse("fleet:quote-step", args=[quote.pk]), {"do": "approve", "how": "by mail"}, follow=True
    )
    assert "Its visit can be planned now" in done.content.decode()
    assert "T. Okafor" in paper
    page = client.get(reverse("fleet:need", args=[need.pk])).content.decode()
    assert "approved" in page
    assert "Q-" in client.get(reverse("fleet:quotes"), {"show": "approved"}).content.decode()
    assert client.get(reverse("fleet:quote-new"), {"site": "none"}).status_code == 422
