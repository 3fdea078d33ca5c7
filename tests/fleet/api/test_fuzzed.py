"""The API held against its own document by generated calls, through the WSGI application: no 5xx."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import schemathesis
from django.core import signals
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_schema_conformance,
    status_code_conformance,
)

from fleet.api.door import described
from fleet.models import Company, DeviceToken
from fleet.services.company.device_tokens import create_device_token
from tests.factories import build_controller, build_site

pytestmark = pytest.mark.django_db
EXAMPLES = 25
CHECKS = [
    schemathesis.checks.not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    negative_data_rejection,
]


@pytest.fixture(autouse=True)
def one_connection() -> Iterator[None]:
    """A request closes old connections; as under Django's own test client, that of the test stays open."""
    signals.request_started.disconnect(close_old_connections)
    signals.request_finished.disconnect(close_old_connections)
    yield
    signals.request_started.connect(close_old_connections)
    signals.request_finished.connect(close_old_connections)


@pytest.mark.parametrize("address", ["bypass-logs", "meter-readings", "meter-volumes"])
def test_no_generated_call_breaks_the_api_or_its_document(company: Company, address: str) -> None:
    build_controller(build_site())
    secret = create_device_token(
        name="fuzz", kinds=("bypass", "readings", "volumes"), site_codes=(), by="test", at=datetime.now(UTC)
    ).secret
    document = schemathesis.openapi.from_dict(described())
    document.app = get_wsgi_application()
    operation = document[f"/api/v1/{address}"]["POST"]
    seen: list[int] = []

    @seed(7)
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(data=st.data())
    def call(data: Any) -> None:
        # The share of a minute is held by tests of its own.
        DeviceToken.objects.update(minute_calls=0)
        mode = data.draw(st.sampled_from(list(schemathesis.GenerationMode)))
        case = data.draw(operation.as_strategy(generation_mode=mode))
        response = case.call(headers={"Authorization": f"Bearer {secret}"})
        seen.append(response.status_code)
        case.validate_response(response, checks=CHECKS)

    call()

    assert max(seen) < 500
    assert {200, 422} & set(seen)
