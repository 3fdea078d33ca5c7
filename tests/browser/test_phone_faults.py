"""What may go wrong with the phone itself: its clock, its storage, its browser, the version it runs."""

from __future__ import annotations

import os
import signal
import subprocess
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from fleet import phone_assets
from fleet.models import Finding, Photo, Submission
from sites.models import Site
from tests.browser.phone_hand import SIZE, Phone, login_of, picture, stops_of_today
from tests.browser.test_pages_in_chromium import CHROMIUM, FLAGS, chromium, town

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]

__all__ = ["chromium", "town"]


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
