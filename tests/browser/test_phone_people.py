"""Whose phone it is: two phones at one visit, expired sessions, another sign-in, codes and sign-out."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.sessions.models import Session

from fleet.models import Finding, Photo, Stop, Submission, Technician, User
from fleet.services.company.company import set_passwords
from sites.models import Site
from tests.browser.phone_hand import Phone, login_of, picture, stops_of_today
from tests.browser.test_pages_in_chromium import CHROMIUM, PASSWORD, chromium, town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]

__all__ = ["chromium", "town"]


def test_two_phones_tell_of_one_visit_and_both_versions_are_kept(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.open(f"/day/stops/{stops[1].pk}/")
    phone.cut()
    # Meanwhile the office gives two stops to somebody else, who has a phone, too.
    other = Technician.objects.exclude(pk=stops[0].route.technician_id).first()
    assert other is not None
    user = User.objects.create_user(username="second", role=User.Role.TECHNICIAN)
    set_passwords(passwords={"second": PASSWORD})
    Technician.objects.filter(pk=other.pk).update(user=user)
    route = stops[0].route
    theirs = type(route).objects.filter(technician=other, day=route.day).first()
    if theirs is None:
        theirs = type(route).objects.create(
            technician=other,
            day=route.day,
            start_at=route.start_at,
            end_at=route.end_at,
            planned_at=route.planned_at,
        )
    for number, stop in enumerate(stops[:2]):
        Stop.objects.filter(pk=stop.pk).update(route=theirs, order=90 + number)
    second = Phone(chromium, live_server, "second")
    second.start_shift()
    second.open(f"/day/stops/{stops[0].pk}/")
    second.record("Seen by the second")
    second.page.wait_for_selector("text=The finding is recorded")
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.record("Seen by the first")
    phone.page.wait_for_selector("text=is kept on this phone")
    phone.open(f"/day/stops/{stops[1].pk}/")
    phone.record("Not wanted")
    phone.page.wait_for_selector("text=is kept on this phone")

    phone.mend()
    phone.send()
    phone.page.goto(f"{phone.line.url}/day/waiting/")
    phone.page.wait_for_selector("text=was given to")
    assert Finding.objects.count() == 1
    assert Submission.objects.filter(outcome="asks").count() == 2
    phone.page.click("li:has-text('was given to') >> nth=0 >> text=Keep mine for the office")
    phone.wait_for_count(1)
    phone.page.click("text=Throw mine away")
    phone.wait_for_count(0)

    kept = {one.note: one.check_state for one in Finding.objects.all()}
    assert kept == {"Seen by the second": "to_check", "Seen by the first": "beside"}
    dropped = Submission.objects.get(outcome="dropped")
    assert dropped.payload["fields"]["note"] == "Not wanted"


def test_an_expired_session_keeps_the_queue_until_the_same_person_signs_in(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.open(f"/day/stops/{stops[0].pk}/")
    Session.objects.all().delete()

    phone.record("After the session")
    phone.page.wait_for_selector("text=is kept on this phone")
    phone.until("document.querySelector('[data-sendbar]').textContent.includes('sign in to send')")
    phone.wait_for_count(1)
    phone.page.goto(f"{phone.line.url}/sign-in/")
    phone.page.wait_for_selector("text=1 thing waits on this phone")
    phone.sign_in()
    phone.open("/day/")
    phone.wait_until_empty()

    assert Finding.objects.get().note == "After the session"


def test_another_person_on_the_phone_neither_reads_nor_sends_what_waits(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.take_photo(picture(1), "the gate")
    phone.record("Secret of the first")
    phone.page.wait_for_selector("text=is kept on this phone")
    phone.mend()
    phone.line.cut = lambda _method, path: "before" if path in ("/day/send/", "/day/photo/") else ""
    phone.page.goto(f"{phone.line.url}/day/waiting/")
    phone.page.click("main button:has-text('Sign out')")
    phone.page.wait_for_url("**/sign-in/**")
    assert phone.page.evaluate("caches.keys().then(k => k.filter(n => n.includes('-day-')))") == []
    second = User.objects.create_user(username="second", role=User.Role.TECHNICIAN)
    set_passwords(passwords={"second": PASSWORD})
    assert Technician.objects.filter(user=second).count() == 0
    phone.line.cut = lambda _method, _path: ""

    phone.sign_in("second")
    phone.page.goto(f"{phone.line.url}/day/waiting/")
    phone.until("document.querySelector('[data-sendbar]').textContent.includes('2 of another sign-in')")
    phone.send()
    raw = phone.page.evaluate(
        """async () => {
          let opened = 0;
          const text = [];
          for (const item of await self.rootroundStore.items()) {
            text.push(new TextDecoder("latin1").decode(item.head.data));
            try { await self.rootroundStore.content(item); opened += 1; } catch { /* sealed */ }
          }
          return [opened, text.join(" ")];
        }"""
    )
    assert raw[0] == 0
    assert "Secret" not in raw[1]
    assert Finding.objects.count() == 0
    phone.page.click("main button:has-text('Sign out')")
    phone.page.wait_for_url("**/sign-in/**")
    phone.sign_in()
    phone.open("/day/")
    phone.wait_until_empty()

    assert Finding.objects.get().note == "Secret of the first"
    assert Photo.objects.get().finding == Finding.objects.get()


def test_gate_codes_go_with_the_day_and_all_of_it_after_the_hours(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    assert stops[0].visit is not None
    Site.objects.filter(pk=stops[0].visit.site_id).update(gate_code="7391")
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    assert "7391" in phone.page.inner_text("#in")
    phone.record("Before the hours were over")
    phone.page.wait_for_selector("text=is kept on this phone")
    kept_pages = """async () => {
      const found = [];
      for (const name of await caches.keys()) if (name.includes("-day-")) {
        const cache = await caches.open(name);
        for (const asked of await cache.keys()) found.push(await (await cache.match(asked)).text());
      }
      return found.join(" ");
    }"""
    age = "self.rootroundStore.meta('pack').then(p => self.rootroundStore.setMeta('pack', {...p, %s: 1}))"

    phone.page.evaluate(age % "codesUntil")
    phone.open(f"/day/stops/{stops[0].pk}/")
    assert "7391" not in phone.page.content()
    kept = phone.page.evaluate(kept_pages)
    assert "7391" not in kept
    assert stops[0].visit.site.code in kept
    phone.page.evaluate(age % "until")
    phone.page.goto(f"{phone.line.url}/day/")
    phone.page.wait_for_selector("text=this page is not on the phone")

    assert phone.page.evaluate(kept_pages) == ""
    assert phone.page.evaluate("self.rootroundStore.meta('keys').then(k => k === undefined)")
    assert len(phone.queue()) == 1
    phone.mend()
    phone.open("/day/")
    phone.wait_until_empty()
    assert Finding.objects.get().note == "Before the hours were over"


def test_signing_out_without_network_wipes_the_day_all_the_same(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.cut()
    phone.open("/day/waiting/")

    phone.page.click("main button:has-text('Sign out')")
    phone.page.wait_for_selector("text=this page is not on the phone")

    assert phone.page.evaluate("caches.keys().then(k => k.filter(n => n.includes('-day-')))") == []
    assert phone.page.evaluate("self.rootroundStore.meta('owner').then(o => o === undefined)")
    phone.page.goto(f"{phone.line.url}/day/stops/{stops[0].pk}/")
    phone.page.wait_for_selector("text=this page is not on the phone")
