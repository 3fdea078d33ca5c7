"""The stations of a timer in order, for the label in its lid and the form that exchanges two."""

from __future__ import annotations

from dataclasses import dataclass

from sites.models import Change, Controller, ProgramLine, ProgramSet, Sensor, Zone


@dataclass(frozen=True, slots=True)
class LabelRow:
    """One station: its zone in words, what its programs give it, whether the sensor stands there."""

    station: int
    name: str
    what: str
    minutes: str
    is_governing: bool


@dataclass(frozen=True, slots=True)
class StationLabel:
    """All stations that have a zone, and the newest exchange of wires."""

    controller: Controller
    rows: tuple[LabelRow, ...]
    governing: int
    last_used: int
    exchanged: Change | None

    @property
    def free(self) -> int:
        """Stations without a zone."""
        return self.controller.station_count - len(self.rows)


def station_label(*, site_id: int, controller_code: str) -> StationLabel | None:
    """The label of a controller of a site; None where there is no such controller."""
    controller = Controller.objects.filter(site_id=site_id, code=controller_code).first()
    if controller is None:
        return None
    sensor = Sensor.objects.filter(controller=controller).first()
    governing = sensor.station if sensor is not None else 0
    minutes = _minutes(controller)
    zones = Zone.objects.filter(controller=controller).order_by("station")
    rows = tuple(
        LabelRow(
            station=zone.station,
            name=zone.name,
            what=f"{zone.get_plant_display()}, {zone.get_head_display()}",
            minutes=minutes.get(zone.station, ""),
            is_governing=zone.station == governing,
        )
        for zone in zones
    )
    return StationLabel(
        controller=controller,
        rows=rows,
        governing=governing,
        last_used=rows[-1].station if rows else 0,
        exchanged=Change.objects.filter(kind="station_exchange", thing_id=controller.pk).first(),
    )


def _minutes(controller: Controller) -> dict[int, str]:
    """What the newest program gives each station, as `A 12 min`."""
    newest = ProgramSet.objects.filter(controller=controller).order_by("-as_of").first()
    told: dict[int, list[str]] = {}
    if newest is not None:
        for line in ProgramLine.objects.filter(program_set=newest).order_by("letter", "run_order"):
            told.setdefault(line.station, []).append(f"{line.letter} {line.run_min:g} min")
    return {station: ", ".join(words) for station, words in told.items()}
