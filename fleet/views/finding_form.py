"""A finding as the form of a stop says it: from the page without script, and from a phone's queue."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from fleet.models import Finding
from fleet.quantities import entered
from fleet.services.on_site.finding_input import BadFinding, FindingInput
from fleet.views.asked import asked_number

LONGEST_NOTE: Final = 4_000
MOST_PROGRAMS: Final = 20
MOST_STATIONS: Final = 60
# Answers that are typed in the reader's own units; kept in SI: metres, millimetres.
QUANTITIES: Final = {"edge_m": "length", "core": "depth_whole"}


def finding_of(
    form: Mapping[str, str], *, key: str, stop_id: int, now: datetime, is_us: bool
) -> FindingInput:
    """The form as a finding, in SI; raises `BadFinding`."""
    temperature = _number(form, "soil_temperature_c")
    return FindingInput(
        client_key=key,
        stop_id=stop_id,
        recorded_at=now,
        need_id=asked_number(form.get("need")) or None,
        verdict=form.get("verdict", Finding.Verdict.NOT_CHECKED),
        cause=form.get("cause", ""),
        resistance_kohm=_number(form, "resistance_kohm"),
        soil_temperature_c=None
        if temperature is None
        else round(entered(temperature, "temperature", is_us=is_us), 2),
        threshold_kpa=_number(form, "threshold_kpa"),
        program_keyed_in=form.get("program_keyed_in") == "yes",
        program_ids=_programs(form.get("programs", "")),
        turf=form.get("turf", ""),
        dry_stations=_stations(form, "dry_stations"),
        soggy_stations=_stations(form, "soggy_stations"),
        parts=_parts(form),
        parts_used=_text(form, "parts_used", 200),
        service_min=_number(form, "service_min"),
        follow_up=_text(form, "follow_up", 300),
        note=_text(form, "note", LONGEST_NOTE),
        need_is_met=form.get("need_is_met", "yes") == "yes",
        answers={
            name.removeprefix("check-")[:60]: _answer(name.removeprefix("check-"), value, is_us=is_us)
            for name, value in form.items()
            if name.startswith("check-") and name != "check-" and value
        },
    )


def _parts(form: Mapping[str, str]) -> dict[str, int]:
    """How many of each part: fields `part-CODE`, empty or 0 where none was used."""
    found = {}
    for name, value in form.items():
        if not name.startswith("part-") or not value.strip() or value.strip() == "0":
            continue
        number = asked_number(value.strip())
        if not number:
            raise BadFinding(f"parts: {value[:20]!r}, expected a whole number")
        found[name.removeprefix("part-")[:40]] = number
    return found


def _answer(code: str, value: str, *, is_us: bool) -> str:
    """An answer to a check, a number in SI; what is no number stays as it was typed."""
    text = value[:200].replace("\x00", "")
    if code not in QUANTITIES or not is_us:
        return text
    try:
        return f"{entered(float(text.replace(',', '.')), QUANTITIES[code], is_us=True):.2f}"
    except ValueError:
        return text


def _text(form: Mapping[str, str], name: str, most: int) -> str:
    """A text of the form, cut to what is kept."""
    return form.get(name, "")[:most].replace("\x00", "")


def _programs(text: str) -> tuple[int, ...]:
    """Programs that the sheet showed, from a list of numbers."""
    found = [asked_number(part) for part in text.split(",")[:MOST_PROGRAMS]]
    return tuple(number for number in found if number)


def _stations(form: Mapping[str, str], name: str) -> tuple[int, ...]:
    """Stations of a form, such as `2, 5`."""
    parts = form.get(name, "").replace(";", ",").replace(" ", ",").split(",")[:MOST_STATIONS]
    found = [asked_number(part) for part in parts if part]
    if not all(found):
        raise BadFinding(f"{name}: {form[name][:30]!r}, expected station numbers such as 2, 5")
    return tuple(sorted({number for number in found if number}))


def _number(form: Mapping[str, str], name: str) -> float | None:
    """A number of the form, None where it is empty; a comma may stand for the point."""
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise BadFinding(f"{name}: {text[:20]!r}, expected a number") from None
