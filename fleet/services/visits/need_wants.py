"""What each stage wants visited today: pure lists that `raise_needs` compares with what is open."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from fleet.calc.visits.service_times import LearnedTime
from fleet.calc.visits.settings import VisitSettings, planned_min
from fleet.calc.visits.value import SKILLS, turf_value, water_value
from fleet.calc.watch.parts import PARTS
from fleet.models import Cause, Flag, VisitKind, VisitNeed
from fleet.selectors.visits.need_sources import (
    SiteFacts,
    controllers_without_log,
    dry_turf_m2,
    last_audits,
    newest_recommendations,
    open_flags,
    site_facts,
    turf_zone_m2,
    water_prices,
)
from fleet.selectors.watch.logs import likely_reasons
from fleet.services.visits.need_leaks import leak_wants
from fleet.services.visits.wanted import Wanted, rounded_parts
from sites.models import Recommendation
from sites.models.choices import ProgramStatus
from sites.selectors.issue_gate import barred_programs

CAUSE_WORDS: dict[str, str] = dict(Cause.choices)


def wanted_needs(*, day: date, settings: VisitSettings) -> list[Wanted]:
    """Every need that the data of a day gives a reason for, by stage."""
    sites = site_facts()
    prices = water_prices(day=day)
    return [
        *_from_flags(day, settings, sites, prices),
        *_from_programs(day, settings, sites, prices),
        *_from_logs(day, settings),
        *_from_audits(day, settings, sites),
        *leak_wants(day=day, settings=settings, sites=sites, prices=prices),
    ]


def service_min(
    kind: str, settings: VisitSettings, learned: Mapping[str, LearnedTime] | None = None
) -> float:
    """Planned time on the spot of a kind of visit [min], as findings of that kind have taught.

    Parameters
    ----------
    kind
        Kind of visit.
    settings
        The company's settings.
    learned
        What was learned, by kind; None: the plan alone.
    """
    if learned is not None and kind in learned:
        return round(learned[kind].minutes, 1)
    return round(planned_min(settings, kind), 1)


def skill_of(kind: str) -> str:
    """Skills that a kind of visit asks for, `;`-separated."""
    return ";".join(SKILLS.get(kind, ()))


def _from_flags(
    day: date, settings: VisitSettings, sites: dict[int, SiteFacts], prices: dict[str, float]
) -> list[Wanted]:
    """A sensor check for each open flag."""
    flags = open_flags(day=day)
    dry = dry_turf_m2(controller_ids=[flag.controller_id for flag in flags], day=day)
    wants = []
    for flag in flags:
        site = sites[flag.controller.site_id]
        price = prices.get(site.supplier, settings.water_price_per_m3)
        parts = {
            "water": water_value(max(0.0, flag.litres_at_stake_per_week or 0.0), price),
            "turf": turf_value(
                1.0, 1.0, dry.get(flag.controller_id, 0.0), settings.turf_per_m2, settings.turf_days
            )
            * flag.probability,
        }
        if sum(parts.values()) < settings.change_per_day:
            parts["priority"] = settings.change_per_day - sum(parts.values())
        wants.append(
            Wanted(
                site_id=site.site_id,
                controller_id=flag.controller_id,
                kind=VisitKind.SENSOR_CHECK,
                origin=VisitNeed.Origin.WATCH,
                key=f"flag/{site.code}/{flag.controller.code}/{flag.raised_on.isoformat()}",
                reason=_flag_reason(flag),
                value_parts=rounded_parts(parts),
                parts=PARTS.get(flag.cause, ""),
            )
        )
    return wants


def _flag_reason(flag: Flag) -> str:
    """One sentence with cause and evidence."""
    evidence = f": {flag.evidence}" if flag.evidence else ""
    return f"Sensor watch: {CAUSE_WORDS.get(flag.cause, flag.cause)}{evidence}"[:400]


def _from_programs(
    day: date, settings: VisitSettings, sites: dict[int, SiteFacts], prices: dict[str, float]
) -> list[Wanted]:
    """A visit for each material program change that may be keyed in, and for wires to be exchanged."""
    rows = newest_recommendations(day=day)
    barred = barred_programs(recommendation_ids=[row.pk for row in rows])
    areas = turf_zone_m2(controller_ids=[row.controller_id for row in rows])
    wants = []
    for row in rows:
        site = sites[row.controller.site_id]
        where = f"{site.code}/{row.controller.code}"
        if row.is_change and row.status != ProgramStatus.KEYED_IN and row.pk not in barred:
            price = prices.get(site.supplier, settings.water_price_per_m3)
            parts = {
                "water": water_value(max(0.0, row.water_at_stake_l) / 4, price),
                "turf": turf_value(
                    max(0.0, row.dry_zone_days_spared),
                    28.0,
                    areas.get(row.controller_id, 0.0),
                    settings.turf_per_m2,
                    settings.turf_days,
                ),
            }
            if sum(parts.values()) < settings.change_per_day:
                parts["priority"] = settings.change_per_day - sum(parts.values())
            wants.append(
                Wanted(
                    site_id=site.site_id,
                    controller_id=row.controller_id,
                    kind=VisitKind.PROGRAM_CHANGE,
                    origin=VisitNeed.Origin.ROUND,
                    key=f"program/{where}/{row.week.isoformat()}",
                    reason=_program_reason(row),
                    value_parts=rounded_parts(parts),
                )
            )
        if row.needs_wire_move:
            wants.append(
                Wanted(
                    site_id=site.site_id,
                    controller_id=row.controller_id,
                    kind=VisitKind.MOVE_STATION_WIRE,
                    origin=VisitNeed.Origin.ROUND,
                    key=f"wire/{where}/{row.week.isoformat()}",
                    reason=f"Controller {row.controller.code}: the governing station cannot close its pass; "
                    "exchange two station wires so that it runs last.",
                    value_parts={"priority": settings.change_per_day},
                    skill=skill_of(VisitKind.MOVE_STATION_WIRE),
                )
            )
    return wants


def _program_reason(row: Recommendation) -> str:
    """What the change brings over four weeks."""
    gains = []
    if row.water_at_stake_l > 0:
        gains.append(f"saves {row.water_at_stake_l / 1000:.1f} m3 in four weeks")
    if row.dry_zone_days_spared > 0:
        gains.append(f"spares {row.dry_zone_days_spared:.0f} dry zone-days in four weeks")
    first = str(row.reasons[0]) if row.reasons else ""
    words = " and ".join(gains) or first or "the program that is set no longer fits"
    return f"Program change on controller {row.controller.code}: {words}"[:400]


def _from_logs(day: date, settings: VisitSettings) -> list[Wanted]:
    """A visit where a sensor's log has stopped or never came."""
    wants = []
    stopped = controllers_without_log(day=day, days=int(settings.log_missing_days))
    likely = likely_reasons(stopped=stopped)
    for controller, newest in stopped:
        since = "ever" if newest is None else f"since {newest.isoformat()}"
        wants.append(
            Wanted(
                site_id=controller.site_id,
                controller_id=controller.pk,
                kind=VisitKind.LOG_MISSING,
                origin=VisitNeed.Origin.LOGS,
                key=f"log/{controller.site.code}/{controller.code}/{(newest or controller.site.imported_on)}",
                reason=f"Controller {controller.code}: no bypass log {since}; nobody can tell whether its "
                f"sensor works. Likely: {likely[controller.pk]}.",
                value_parts={"priority": settings.log_missing_per_day},
            )
        )
    return wants


def _from_audits(day: date, settings: VisitSettings, sites: dict[int, SiteFacts]) -> list[Wanted]:
    """An audit where the last one, or the site's first day in the book, is too long ago."""
    last = last_audits()
    wants = []
    for site in sites.values():
        since = last.get(site.site_id, site.imported_on)
        if (day - since).days < settings.audit_every_days:
            continue
        words = "Last audit" if site.site_id in last else "No audit since it came into the book"
        wants.append(
            Wanted(
                site_id=site.site_id,
                controller_id=None,
                kind=VisitKind.AUDIT,
                origin=VisitNeed.Origin.CALENDAR,
                key=f"audit/{site.code}/{since.isoformat()}",
                reason=f"{words} on {since.isoformat()}; due every {settings.audit_every_days:.0f} days.",
                value_parts={"priority": settings.audit_per_day},
            )
        )
    return wants
