"""One controller's program sheet: old against new in the order of keying in, why, and what to expect."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.selectors.day import KeyInProgram
from fleet.selectors.key_in import programs_to_key_in
from sites.models import Controller, Recommendation, RecommendationLine, Sensor, Site


@dataclass(frozen=True, slots=True)
class ProgramSheet:
    """The sheet. `program` is None where nothing changes; `answer` None where no round ran."""

    controller: Controller
    sensor: Sensor | None
    answer: Recommendation | None
    program: KeyInProgram | None
    lines: tuple[RecommendationLine, ...]


def program_sheet(*, site: Site, controller_code: str, day: date) -> ProgramSheet | None:
    """The sheet of a controller of a site; None where there is no such controller."""
    controller = Controller.objects.filter(site=site, code=controller_code).first()
    if controller is None:
        return None
    answer = (
        Recommendation.objects.filter(controller=controller)
        .prefetch_related("lines")
        .order_by("-week")
        .first()
    )
    programs = programs_to_key_in(site_id=site.pk, day=day)
    return ProgramSheet(
        controller=controller,
        sensor=Sensor.objects.filter(controller=controller).first(),
        answer=answer,
        program=next((one for one in programs if one.controller == controller_code), None),
        lines=tuple(answer.lines.all()) if answer else (),
    )
