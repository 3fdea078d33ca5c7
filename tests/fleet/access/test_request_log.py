"""Requests have ids; log lines are JSON that nobody can forge and that hold no secret of an address."""

from __future__ import annotations

import json
import logging
import sys

import pytest
from django.test import Client
from django.urls import reverse

from fleet.request_log import JsonLines, of_run


def line_of(message: str, *args: object) -> dict[str, object]:
    """A log line as whoever reads the log has it."""
    record = logging.LogRecord("fleet", logging.WARNING, __file__, 1, message, args, None)
    text = JsonLines().format(record)
    assert "\n" not in text
    return dict(json.loads(text))


def test_a_message_cannot_forge_a_line() -> None:
    assert line_of("site %s", 'CB\n{"level": "CRITICAL"}')["message"] == 'site CB\n{"level": "CRITICAL"}'


def test_lines_of_the_worker_carry_the_run_and_others_do_not() -> None:
    with of_run(7):
        assert line_of("inside")["run_id"] == 7
    assert "run_id" not in line_of("outside")


def test_an_error_is_told_in_its_line() -> None:
    try:
        int("no water")
    except ValueError:
        record = logging.LogRecord("fleet", logging.ERROR, __file__, 1, "failed", (), sys.exc_info())
    assert "ValueError: invalid literal" in json.loads(JsonLines().format(record))["error"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("given", "is_taken"), [("abc-12345678", True), ("short", False), ("a b\nc{}", False)]
)
def test_an_answer_names_its_request(
    client: Client, given: str, is_taken: bool, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, logger="rootround.request"):
        address = reverse("fleet:customer-report", args=["a-secret-word"])
        answer = client.get(address, headers={"X-Request-ID": given})

    said = answer["X-Request-ID"]
    assert (said == given) == is_taken
    assert len(said) == (len(given) if is_taken else 32)
    line = next(one for one in caplog.records if one.name == "rootround.request")
    facts = line.__dict__["facts"]
    assert (facts["view"], facts["status"]) == ("fleet:customer-report", 404)
    assert "a-secret-word" not in JsonLines().format(line)
