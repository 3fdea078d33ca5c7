"""What may go wrong with a phone in a garden: each played in a real browser, nothing lost, nothing twice."""

from __future__ import annotations

import os
import signal
import subprocess
from collections import Counter
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.contrib.sessions.models import Session

from fleet import phone_assets
from fleet.models import Finding, Photo, Stop, Submission, Technician, User
from fleet.selectors.photo_files import photo_folder, photo_path
from fleet.services.company import set_passwords
from sites.models import Site
from tests.browser.phone_hand import SIZE, Hold, Phone, cut_once, login_of, picture, stops_of_today
from tests.browser.test_pages_in_chromium import CHROMIUM, FLAGS, PASSWORD, chromium, town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]
__all__ = ["chromium", "town"]
FINDINGS = 30


def test_thirty_findings_with_photos_come_once_byte_for_byte(
    town: None, live_server: Any, chromium: Any, settings: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    for number in range(FINDINGS):
        phone.take_photo(picture(number), f"photo {number}")
        phone.record(f"finding {number}")
        phone.page.wait_for_selector("[data-photo-list]:empty", state="attached")
        phone.wait_for_count(2 * (number + 1))
    sent = phone.page.evaluate(
        """async () => {
          const found = [];
          for (const item of await self.rootroundStore.items()) if (item.kind === "photo") {
            const hash = await crypto.subtle.digest("SHA-256", await self.rootroundStore.file(item));
            found.push([...new Uint8Array(hash)].map((one) => one.toString(16).padStart(2, "0")).join(""));
          }
          return found;
        }"""
    )
    breaks = Counter[str]()

    def every_third(_method: str, path: str) -> str:
        if path not in ("/day/send/", "/day/photo/"):
            return ""
        breaks[path] += 1
        return {0: "after", 1: "before"}.get(breaks[path] % 6, "")

    phone.line.cut = every_third
    phone.mend()
    for _ in range(60):
        phone.send()
        if phone.waits() == 0:
            break
    phone.wait_for_count(0)

    assert len(set(sent)) == FINDINGS
    assert sorted(Photo.objects.values_list("received_sha256", flat=True)) == sorted(sent)
    assert Finding.objects.count() == FINDINGS
    assert {photo.finding.note for photo in Photo.objects.all() if photo.finding} == {
        f"finding {number}" for number in range(FINDINGS)
    }
    for photo in Photo.objects.select_related("finding"):
        assert photo.finding is not None
        assert photo.caption.split()[1] == photo.finding.note.split()[1]
        assert photo_path(folder=photo_folder(data_dir=settings.DATA_DIR), sha256=photo.sha256).is_file()
    assert breaks["/day/send/"] > FINDINGS


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


@pytest.mark.parametrize("hours", [1, -1])
def test_a_clock_that_is_wrong_by_an_hour_is_told_and_taken_out(
    town: None, live_server: Any, chromium: Any, hours: int
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.page.add_init_script(
        f"const real = Date.now.bind(Date); Date.now = () => real() + {hours * 3_600_000};"
    )
    phone.start_shift()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.record("By a wrong clock")
    phone.page.wait_for_selector("text=The finding is recorded")

    row = Submission.objects.get()
    assert abs(row.skew_s - hours * 3600) < 30
    assert abs((row.said_at - row.happened_at) - timedelta(hours=hours)) < timedelta(seconds=30)
    assert abs(Finding.objects.get().recorded_at - row.received_at) < timedelta(seconds=30)
    told = f"clock 1 h 0 min {'ahead' if hours > 0 else 'behind'}"
    phone.until(f"document.querySelector('[data-sendbar]').textContent.includes('{told}')")


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


FILL = """async () => {
  const db = await new Promise((done, fail) => {
    const asked = indexedDB.open("filler", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("all", { autoIncrement: true });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
  let written = 0;
  for (const size of [1048576, 65536, 1024]) {
    for (;;) {
      const chunk = new Uint8Array(size);
      for (let at = 0; at < size; at += 65536) crypto.getRandomValues(chunk.subarray(at, Math.min(size, at + 65536)));
      try {
        await new Promise((done, fail) => {
          const step = db.transaction("all", "readwrite", { durability: "strict" });
          step.objectStore("all").add(chunk);
          step.oncomplete = done;
          step.onabort = () => fail(step.error);
        });
        written += size;
      } catch { break; }
    }
  }
  db.close();
  return written;
}"""  # noqa: E501


def test_a_phone_that_is_really_full_tells_it_loses_nothing_and_can_still_send(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    tools = phone.context.new_cdp_session(phone.page)
    room = {"origin": phone.line.url, "quotaSize": 12_000_000}
    tools.send("Storage.overrideQuotaForOrigin", room)
    phone.start_shift()
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.take_photo(picture(1), "the gate")
    phone.record("Before it was full")
    phone.page.wait_for_selector("text=is kept on this phone")
    phone.page.fill("#finding textarea[name=note]", "One too many")
    phone.wait_for_draft(stops[0].pk, "note", "One too many")
    assert phone.page.evaluate(FILL) > 1_000_000

    phone.page.set_input_files(
        "#f-photo", files=[{"name": "2.jpg", "mimeType": "image/jpeg", "buffer": picture(2)}]
    )
    phone.page.wait_for_selector("text=storage is full")
    assert phone.page.locator("[data-photo-list] li").count() == 0
    phone.page.evaluate("document.querySelector('[data-said]').hidden = true")
    phone.page.click("text=Record the finding")
    phone.page.wait_for_selector("text=storage is full")
    assert phone.page.input_value("#finding textarea[name=note]") == "One too many"
    assert phone.waits() == 2
    # What waits goes out of a full phone, too.
    phone.mend()
    phone.send()
    phone.wait_for_count(0)
    assert Finding.objects.get().note == "Before it was full"
    assert Photo.objects.get().finding == Finding.objects.get()
    # Room again: the form records what it kept. Chromium looks again after half a minute at most.
    phone.page.evaluate(
        "new Promise((done) => { indexedDB.deleteDatabase('filler').onsuccess = () => done(); })"
    )
    tools.send("Storage.overrideQuotaForOrigin", {"origin": phone.line.url})
    for _ in range(40):
        phone.page.click("text=Record the finding")
        phone.page.wait_for_timeout(1000)
        if phone.page.input_value("#finding textarea[name=note]") == "":
            break
    phone.page.wait_for_selector("text=The finding is recorded")

    assert sorted(Finding.objects.values_list("note", flat=True)) == ["Before it was full", "One too many"]


def test_a_new_version_of_the_program_comes_while_things_wait(
    town: None, live_server: Any, chromium: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    old = phone.page.evaluate("caches.keys().then(k => k.filter(n => n.includes('assets')))")
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.record("Written with the old version")
    phone.page.wait_for_selector("text=is kept on this phone")
    monkeypatch.setattr("fleet.views.phone.build_version", lambda: "another-version")
    phone.line.cut = lambda _method, path: "before" if path == "/day/send/" else ""
    phone.mend()

    phone.open("/day/")
    phone.until("caches.keys().then(k => k.includes('rootround-assets-another-version'))")
    phone.until("self.rootroundStore.meta('pack').then(p => p.version.endsWith('another-version'))")
    assert phone.waits() == 1
    phone.line.cut = lambda _method, _path: ""
    phone.send()
    phone.wait_for_count(0)

    assert Finding.objects.get().note == "Written with the old version"
    assert old != []
    assert phone_assets.build_version() in old[0]


def test_a_killed_browser_finds_its_queue_and_its_half_written_form_again(
    town: None, live_server: Any, tmp_path: Path
) -> None:
    from playwright.sync_api import sync_playwright

    stops = stops_of_today()
    with sync_playwright() as playwright:

        def start() -> Phone:
            context = playwright.chromium.launch_persistent_context(
                str(tmp_path / "profile"), executable_path=CHROMIUM, args=list(FLAGS), viewport=SIZE
            )
            return Phone(None, live_server, login_of(stops), context=context)

        phone = start()
        phone.start_shift()
        line = phone.line
        phone.cut()
        phone.open(f"/day/stops/{stops[0].pk}/")
        phone.record("Written before the kill")
        phone.page.wait_for_selector("text=is kept on this phone")
        phone.page.fill("#finding textarea[name=note]", "Half wri")
        phone.wait_for_draft(stops[0].pk, "note", "Half wri")
        _kill_browsers_of(tmp_path / "profile")
        phone = start()
        phone.line.close()
        phone.line = line
        phone.open(f"/day/stops/{stops[0].pk}/")
        phone.wait_for_count(1)
        phone.until("document.querySelector('#finding textarea[name=note]').value === 'Half wri'")
        # The browser had no time to write its session down: sign in again, then it goes out.
        phone.mend()
        phone.sign_in()
        phone.open("/day/")
        phone.wait_until_empty()
        phone.context.close()

    assert Finding.objects.get().note == "Written before the kill"


def _kill_browsers_of(profile: Path) -> None:
    """Kill -9 every process that runs on this profile, and no other."""
    found = subprocess.run(["pgrep", "-f", str(profile)], capture_output=True, text=True, check=False)
    for pid in found.stdout.split():
        if int(pid) != os.getpid():
            os.kill(int(pid), signal.SIGKILL)


def test_a_state_that_was_lost_on_the_way_back_is_not_done_twice(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.line.cut = cut_once("/day/send/", "after")

    phone.push("on_the_way")
    phone.eventually(lambda: Stop.objects.get(pk=stops[0].pk).state == "on_the_way")
    # Whether the phone has asked again by now or not: it knows where it stands, and goes on.
    phone.push("at_the_gate")
    phone.eventually(lambda: Stop.objects.get(pk=stops[0].pk).state == "at_the_gate")
    phone.wait_until_empty()

    assert ("POST", "/day/send/", "after") in phone.line.log
    assert sum(one[:2] == ("POST", "/day/send/") for one in phone.line.log) >= 3
    assert Stop.objects.get(pk=stops[0].pk).state == "at_the_gate"
    assert Submission.objects.count() == 2


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


def test_a_plan_that_changes_during_the_shift_reaches_the_phone_with_the_next_page(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    assert stops[0].visit is not None
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    first = phone.page.evaluate("self.rootroundStore.meta('pack').then(p => p.version)")
    Site.objects.filter(pk=stops[0].visit.site_id).update(access_notes="Take the east gate from now on")

    phone.open("/day/")
    phone.until(f"self.rootroundStore.meta('pack').then(p => p.version !== '{first}')")
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")

    assert "east gate from now on" in phone.page.inner_text("#in")


def test_what_another_sender_sends_is_told_where_it_was_written(
    town: None, live_server: Any, chromium: Any
) -> None:
    """The first question to the server hangs while a finding and a state are written; its send takes both."""
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.line.cut = hold = Hold("/day/me.json")
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.eventually(hold.asked.is_set)

    phone.record("Written while the line hung")
    phone.page.wait_for_selector("text=is kept on this phone")
    phone.push("on_the_way")
    phone.wait_for_count(2)
    hold.free.set()
    phone.page.wait_for_selector("text=The finding is recorded")
    phone.wait_until_empty()
    phone.push("at_the_gate")
    phone.eventually(lambda: Stop.objects.get(pk=stops[0].pk).state == "at_the_gate")
    phone.wait_until_empty()

    assert Finding.objects.get().note == "Written while the line hung"
    assert Stop.objects.get(pk=stops[0].pk).state == "at_the_gate"
    assert Submission.objects.count() == 3
    assert phone.complaints == []


def test_a_finding_written_without_network_is_told_as_recorded_when_it_has_gone_out(
    town: None, live_server: Any, chromium: Any
) -> None:
    stops = stops_of_today()
    phone = Phone(chromium, live_server, login_of(stops))
    phone.start_shift()
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.record("In the dead corner")
    phone.page.wait_for_selector("text=is kept on this phone")
    phone.push("on_the_way")
    phone.wait_for_count(2)
    phone.mend()
    phone.send()

    phone.page.wait_for_selector("text=The finding is recorded")
    # The page of the phone's own copy knows what was sent since it was made.
    phone.cut()
    phone.open(f"/day/stops/{stops[0].pk}/")
    phone.page.wait_for_selector("button[value=at_the_gate]:visible")
    assert "not sent yet" not in phone.page.inner_text(".ph-top")
