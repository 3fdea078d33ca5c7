"""How long pages take while people work: `python -m tests.benchmarks.load ADDRESS --login L --password P`.

Plays a number of dispatchers against an installation that runs (start it as a company does, with gunicorn):
all sign in, one after the other; then each opens one page after the other in an order of its own and reads it
for a while. Prints the median and the 95th percentile of each page, the slowest first, and of all pages.
Nothing is changed but sessions and the audit log.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
import threading
import time
from collections import defaultdict
from dataclasses import dataclass, field

import requests
from requests.adapters import HTTPAdapter
from urllib3.util import Retry

PAGES = (
    "/week/", "/visits/", "/sites/", "/round/", "/watch/", "/water/", "/water/parts/", "/findings/",
    "/week/calls/", "/technicians/", "/quotes/", "/parts/", "/prices/", "/season/", "/rules/", "/weather/",
    "/search/?q=garden", "/map/ground.json", "/map/sites.json",
)  # fmt: skip


@dataclass
class Times:
    """Times of one page [s], its largest size [bytes], and what was answered but 200."""

    seconds: list[float] = field(default_factory=list)
    size: int = 0
    others: list[int] = field(default_factory=list)


class Door:
    """An installation, and what was measured at it."""

    def __init__(self, address: str, login: str, password: str) -> None:
        self.address, self._login, self._password = address.rstrip("/"), login, password
        self.times: dict[str, Times] = defaultdict(Times)
        self._lock = threading.Lock()

    def signed_in(self) -> requests.Session:
        """A new session."""
        visitor = requests.Session()
        # As browsers do: once more where a connection that was kept open had just been closed.
        visitor.mount("http", HTTPAdapter(max_retries=Retry(total=1, connect=0)))
        try:
            page = visitor.get(f"{self.address}/sign-in/", timeout=60).text
        except requests.ConnectionError:
            sys.exit(f"nobody answers at {self.address}: start the web server first")
        found = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)
        form = {
            "csrfmiddlewaretoken": found.group(1) if found else "",
            "username": self._login,
            "password": self._password,
        }
        answer = visitor.post(
            f"{self.address}/sign-in/", data=form, headers={"Referer": self.address}, timeout=60
        )
        if "/sign-in/" in answer.url:
            sys.exit(f"{self._login} could not sign in at {self.address}")
        return visitor

    def ask(self, visitor: requests.Session, name: str, path: str) -> str:
        """One page, timed; its text."""
        began = time.perf_counter()
        answer = visitor.get(self.address + path, timeout=120)
        took = time.perf_counter() - began
        with self._lock:
            times = self.times[name]
            times.seconds.append(took)
            times.size = max(times.size, len(answer.content))
            if answer.status_code != 200:
                times.others.append(answer.status_code)
        return answer.text


def gardens(text: str) -> list[str]:
    """Addresses of the gardens that a page links to."""
    return sorted(set(re.findall(r'href="(/sites/[^/"?]+/)"', text)))


def work(door: Door, visitor: requests.Session, *, seed: int, rounds: int, think_s: float) -> None:
    """One person: every page once a round, in an order of its own, and a garden after each list."""
    draw = random.Random(seed)
    time.sleep(draw.uniform(0, think_s))
    for _ in range(rounds):
        for path in draw.sample(PAGES, len(PAGES)):
            text = door.ask(visitor, path, path)
            if path == "/sites/" and (found := gardens(text)):
                door.ask(visitor, "/sites/CODE/", draw.choice(found))
            time.sleep(draw.expovariate(1 / think_s) if think_s else 0)


def percentile(values: list[float], share: float) -> float:
    """Value below which a share lies."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def report(door: Door, took_s: float) -> None:
    """Print the table; times in milliseconds."""
    count = sum(len(times.seconds) for times in door.times.values())
    print(f"{count} pages in {took_s:.0f} s, {count / took_s:.1f} a second")  # noqa: T201
    print(f"{'page':<24}{'asked':>6}{'p50':>8}{'p95':>8}{'most':>8}{'kB':>8}")  # noqa: T201
    for name, times in sorted(door.times.items(), key=lambda one: -percentile(one[1].seconds, 0.95)):
        figures = [percentile(times.seconds, share) * 1000 for share in (0.5, 0.95, 1.0)]
        odd = f"  answered {sorted(set(times.others))}" if times.others else ""
        shown = "".join(f"{ms:8.0f}" for ms in figures)
        print(f"{name:<24}{len(times.seconds):>6}{shown}{times.size / 1000:8.0f}{odd}")  # noqa: T201
    every = [second for times in door.times.values() for second in times.seconds]
    shown = "".join(f"{percentile(every, share) * 1000:8.0f}" for share in (0.5, 0.95, 1.0))
    print(f"{'all pages':<24}{count:>6}{shown}")  # noqa: T201


def main() -> None:
    """Measure."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("address", help="http://127.0.0.1:8000")
    asked.add_argument("--login", default="hana")
    asked.add_argument("--password", required=True)
    asked.add_argument("--users", type=int, default=20, help="people at once (20)")
    asked.add_argument("--rounds", type=int, default=3, help="how often each opens every page (3)")
    asked.add_argument("--think", type=float, default=5.0, help="mean time between pages of a person [s] (5)")
    options = asked.parse_args()
    door = Door(options.address, options.login, options.password)
    visitor = door.signed_in()
    for path in PAGES:  # the first request of each page fills what is filled once
        door.ask(visitor, path, path)
    door.times.clear()
    began = time.perf_counter()
    visitors = [door.signed_in() for _ in range(options.users)]
    print(f"a sign-in takes {(time.perf_counter() - began) / options.users * 1000:.0f} ms")  # noqa: T201
    people = [
        threading.Thread(
            target=work,
            args=(door, visitors[seed]),
            kwargs={"seed": seed, "rounds": options.rounds, "think_s": options.think},
        )
        for seed in range(options.users)
    ]
    began = time.perf_counter()
    for person in people:
        person.start()
    for person in people:
        person.join()
    print(f"{options.users} people, {options.think:g} s between pages")  # noqa: T201
    report(door, time.perf_counter() - began)


if __name__ == "__main__":
    main()
