"""Codes of the site book that the other files refer to."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from sites.models import Controller, Site, Zone
from weather.importing.rows import Row, Table


@dataclass(frozen=True, slots=True)
class KnownController:
    """What a row about a controller is checked against."""

    pk: int
    site_id: int
    station_count: int
    program_count: int
    starts_per_program: int
    max_run_min: int
    minute_step: int
    governed: bool


def controllers_by_code(table: Table) -> dict[tuple[str, str], KnownController]:
    """The controllers that a table's rows name, by (site, controller) code."""
    codes = {str(row.values["site"]) for row in table.rows}
    rows = Controller.objects.filter(site__code__in=codes).select_related("site").order_by("pk")
    return {
        (row.site.code, row.code): KnownController(
            pk=row.pk,
            site_id=row.site_id,
            station_count=row.station_count,
            program_count=row.program_count,
            starts_per_program=row.starts_per_program,
            max_run_min=row.max_run_min,
            minute_step=row.minute_step,
            governed=row.governed,
        )
        for row in rows
    }


def sites_by_code(table: Table) -> dict[str, tuple[int, ZoneInfo]]:
    """Id and time zone of the sites that a table's rows name, by code."""
    codes = {str(row.values["site"]) for row in table.rows}
    return {
        code: (pk, ZoneInfo(zone))
        for code, pk, zone in Site.objects.filter(code__in=codes).values_list("code", "pk", "timezone")
    }


def stations_with_zone(controller_ids: Collection[int]) -> set[tuple[int, int]]:
    """(controller, station) of every zone of the controllers."""
    return set(Zone.objects.filter(controller_id__in=controller_ids).values_list("controller_id", "station"))


def find_controller(
    table: Table, row: Row, known: dict[tuple[str, str], KnownController], sites: Collection[str]
) -> KnownController | None:
    """The controller of a row, or a problem noted and None."""
    site, code = str(row.values["site"]), str(row.values["controller"])
    found = known.get((site, code))
    if found is not None:
        return found
    if site in sites:
        table.refuse(row.number, "controller", code, f"a controller of site {site}")
    else:
        table.refuse(row.number, "site", site, "a site of the book")
    return None
