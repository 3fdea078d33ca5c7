"""The local server that plays the services."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.weather.sources.service import Service, served


@pytest.fixture
def service() -> Iterator[Service]:
    """A server of the test's own."""
    with served() as one:
        yield one
