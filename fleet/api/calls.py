"""What devices may call: bypass logs, meter readings, meter volumes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from ninja import NinjaAPI
from ninja.errors import HttpError, ValidationError
from ninja.parser import Parser
from ninja.security import HttpBearer
from pydantic import BaseModel

from fleet.api.problems import Problem, ProblemMet, pointer_of
from fleet.api.schemas import BypassBatch, ReadingBatch, Receipt, VolumeBatch
from fleet.selectors.company.company import company_day
from fleet.services.company.device_tokens import Device, TooManyCalls, UnknownToken, admit_call
from sites.services.record_bypass import record_bypass_entries
from sites.services.record_meters import record_reading_entries, record_volume_entries
from weather.importing.rows import ImportReport

NO_TOKEN: Final = {"WWW-Authenticate": 'Bearer realm="devices"'}
ANSWERS: Final[dict[int, type[BaseModel]]] = {
    200: Receipt,
    **dict.fromkeys((400, 401, 403, 413, 415, 422, 429), Problem),
}


class DeviceAuth(HttpBearer):
    """A device token as bearer."""

    def authenticate(self, request: HttpRequest, token: str) -> Device:
        """The device of the token; its call is counted."""
        del request
        try:
            return admit_call(secret=token, now=timezone.now())
        except UnknownToken:
            raise ProblemMet(401, "No such token, or it was revoked.", headers=NO_TOKEN) from None
        except TooManyCalls as error:
            waiting = {"Retry-After": str(error.wait_s)}
            raise ProblemMet(429, f"At most {error} for a token.", headers=waiting) from None


class StrictJson(Parser):
    """JSON as it is defined: no NaN, an object at the top, not nested without end."""

    def parse_body(self, request: HttpRequest) -> dict[str, Any]:
        """The object of the body; ninja answers any failure here with a 400 of its own."""
        found = json.loads(request.body, parse_constant=_refuse_constant)
        if not isinstance(found, dict):
            raise TypeError("the body is no object")
        return found


def _refuse_constant(word: str) -> object:
    """NaN and Infinity are not JSON."""
    raise ValueError(f"{word} is not JSON")


api = NinjaAPI(
    title="Rootround devices",
    version="1",
    description=(
        "Loggers and meters send what they count. The columns are those of the CSV imports, with the same "
        "checks. A batch is taken whole or not at all. The same entry again is counted as unchanged, another "
        "value for the same controller and day, meter and moment, or meter and first day replaces the old "
        "one; so a call that may have been lost can simply be repeated."
    ),
    auth=DeviceAuth(),
    parser=StrictJson(),
    docs_url=None,
    openapi_url=None,
    urls_namespace="api",
)


@api.post("bypass-logs", response=ANSWERS, url_name="bypass-logs", summary="Send bypass logs")
def bypass_logs(request: HttpRequest, batch: BypassBatch) -> Receipt:
    """Starts that the sensor blocked, of one controller and day or period each."""
    entries = _entries(request, "bypass", batch.entries)
    return _receipt(record_bypass_entries(entries=entries, today=company_day(now=timezone.now())))


@api.post("meter-readings", response=ANSWERS, url_name="meter-readings", summary="Send meter readings")
def meter_readings(request: HttpRequest, batch: ReadingBatch) -> Receipt:
    """What registers showed at a moment."""
    entries = _entries(request, "readings", batch.entries)
    return _receipt(record_reading_entries(entries=entries, now=timezone.now()))


@api.post("meter-volumes", response=ANSWERS, url_name="meter-volumes", summary="Send meter volumes")
def meter_volumes(request: HttpRequest, batch: VolumeBatch) -> Receipt:
    """Water of a period."""
    entries = _entries(request, "volumes", batch.entries)
    return _receipt(record_volume_entries(entries=entries, today=company_day(now=timezone.now())))


def _entries(request: HttpRequest, kind: str, batch: Sequence[BaseModel]) -> list[Mapping[str, object]]:
    """The entries as values, if the device may send them."""
    device: Device = request.auth  # type: ignore[attr-defined]  # set by ninja
    if kind not in device.kinds:
        raise ProblemMet(403, f"This token may send {', '.join(sorted(device.kinds))}, not {kind}.")
    entries: list[Mapping[str, object]] = [one.model_dump() for one in batch]
    if device.sites is not None:
        outside = [
            (pointer_of(["entries", at, "site"]), "expected a site of this token")
            for at, entry in enumerate(entries)
            if entry["site"] not in device.sites
        ]
        if outside:
            raise ProblemMet(403, f"{len(outside)} entries are of sites that are not this token's.", outside)
    return entries


def _receipt(report: ImportReport) -> Receipt:
    """What became of the entries; raises the problem where any was refused."""
    if report.problems:
        errors = [
            (
                pointer_of(["entries", problem.row - 1, *([problem.column] if problem.column else [])]),
                f"found {problem.value[:80]!r}, expected {problem.expected}",
            )
            for problem in report.problems
        ]
        rows = len({problem.row for problem in report.problems})
        raise ProblemMet(422, f"{rows} entries cannot be taken; nothing was written.", errors)
    return Receipt(added=report.added, changed=report.changed, unchanged=report.unchanged)


@api.exception_handler(ProblemMet)
def _problem(request: HttpRequest, met: ProblemMet) -> HttpResponse:
    """A problem as its answer."""
    del request
    return met.response()


@api.exception_handler(ValidationError)
def _invalid(request: HttpRequest, error: ValidationError) -> HttpResponse:
    """Values that break the schema."""
    del request
    parts = []
    for one in error.errors:
        place = list(one.get("loc", ()))
        parts.append((pointer_of(place[2:]), str(one.get("msg", "not as expected"))))
    how_many = "1 value is" if len(parts) == 1 else f"{len(parts)} values are"
    return ProblemMet(422, f"{how_many} not as the document has them.", parts).response()


@api.exception_handler(HttpError)
def _http(request: HttpRequest, error: HttpError) -> HttpResponse:
    """What ninja itself refuses: no token, no JSON."""
    del request
    if error.status_code == 401:
        return ProblemMet(401, "Send the token as: Authorization: Bearer TOKEN", headers=NO_TOKEN).response()
    return ProblemMet(400, "Expected a JSON object in UTF-8, without NaN, nested a few levels.").response()
