"""The cast and the fixed day of the tests; no test reaches the network."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.test import Client

from fleet.models import Company, User

# No test fails because a machine is busy.
hypothesis.settings.register_profile("house", deadline=None)
hypothesis.settings.load_profile("house")

# Playwright's own event loop must not stop Django's database calls in browser tests.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

DAY = date(2026, 6, 15)  # a Monday
NOW = datetime(2026, 6, 15, 13, 30, tzinfo=UTC)
DATA = Path(__file__).parent / "data"
LOCAL_HOSTS = {"127.0.0.1", "::1", "localhost"}


@pytest.fixture(autouse=True)
def no_outside_host(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Connections leave this machine only in tests marked `remote_data`."""
    if request.node.get_closest_marker("remote_data"):
        return
    connect: Callable[..., Any] = socket.socket.connect

    def guarded(self: socket.socket, address: Any) -> Any:
        if self.family in (socket.AF_INET, socket.AF_INET6) and address[0] not in LOCAL_HOSTS:
            pytest.fail(f"a test tried to reach {address}")
        return connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", guarded)


@pytest.fixture(autouse=True)
def plain_settings(settings: Any, tmp_path: Path) -> None:
    """Fast password hashes, and a data folder of the test's own."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.DATA_DIR = tmp_path
    settings.WEATHER_DROP_DIR = tmp_path / "weather_drop"
    settings.WEATHER_ANSWERS_DIR = tmp_path / "weather_answers"


@pytest.fixture
def company(db: None) -> Company:
    """An invented company whose today is `DAY`."""
    return Company.objects.create(
        pk=1,
        name="Marlow & Finch Garden Water",
        timezone="America/Denver",
        currency="USD",
        demo_today=DAY,
        depot_latitude=41.2,
        depot_longitude=-104.7,
    )


def _person(role: str, name: str) -> User:
    """An account of a role."""
    first, last = name.split()
    return User.objects.create_user(
        username=first.lower(), password="garden-water-42", first_name=first, last_name=last, role=role
    )


@pytest.fixture
def dispatcher(db: None) -> User:
    """Hana plans the week."""
    return _person(User.Role.DISPATCHER, "Hana Voss")


@pytest.fixture
def technician_user(db: None) -> User:
    """Ines drives."""
    return _person(User.Role.TECHNICIAN, "Ines Calder")


@pytest.fixture
def manager(db: None) -> User:
    """Ruth answers for the water."""
    return _person(User.Role.MANAGER, "Ruth Ansel")


@pytest.fixture
def stranger(db: None) -> User:
    """Otis is a technician with no route: other people's customers are not his."""
    return _person(User.Role.TECHNICIAN, "Otis Lund")


@pytest.fixture
def sign_in(client: Client) -> Callable[[User], Client]:
    """A client signed in as the given person."""

    def as_user(user: User) -> Client:
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return as_user
