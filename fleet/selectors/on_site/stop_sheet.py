"""Everything that is needed at one stop."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from fleet.calc.on_site.check_steps import Check
from fleet.calc.on_site.checks import DIG_KINDS, cautions_for, checks_for
from fleet.calc.on_site.decision_help import HELP
from fleet.models import Cause, Flag, Route, Stop, VisitKind, VisitNeed, WatchState
from fleet.quantities import told, worded
from fleet.selectors.on_site.day import CheckRow, KeyInProgram, ReasonRow, SensorPlace, StopSheet
from fleet.selectors.plan.stop_rows import company_zone, needs_of_visits, stop_row
from fleet.selectors.programs.key_in import programs_to_key_in
from fleet.selectors.watch.expect import Expected, expected_readings
from sites.models import Sensor, Site, Zone
from weather.models import DailyWeather

CAUSE_WORDS: dict[str, str] = dict(Cause.choices)


def stop_sheet(*, stop_id: int, is_us: bool = False) -> StopSheet | None:
    """The sheet of one stop at a site, words in the reader's units; None where there is none."""
    stop = (
        Stop.objects.filter(pk=stop_id, visit__isnull=False)
        .select_related("visit__site", "route__technician")
        .first()
    )
    if stop is None or stop.visit is None:
        return None
    here = company_zone()
    site, day = stop.visit.site, stop.route.day
    needs = needs_of_visits([stop.visit.pk]).get(stop.visit.pk, [])
    flags = {
        flag.controller_id: flag
        for flag in Flag.objects.filter(controller__site=site, closed_on__isnull=True)
    }
    order = list(
        Stop.objects.filter(route=stop.route, is_break=False).order_by("order").values_list("pk", flat=True)
    )
    digs = [need for need in needs if need.kind in DIG_KINDS]
    return StopSheet(
        stop=stop_row(stop, needs, here),
        date=day,
        technician=stop.route.technician.code,
        number=order.index(stop.pk) + 1,
        of=len(order),
        phone=site.phone,
        access_notes=site.access_notes,
        gate_code=site.gate_code,
        cautions=_cautions(needs, _tmax(site, day), is_us=is_us),
        may_dig=all(_is_covered(need, day) for need in digs) if digs else None,
        locate_ticket=next((need.locate_ticket for need in digs if need.locate_ticket), ""),
        locate_valid_until=min(
            (need.locate_valid_until for need in digs if need.locate_valid_until is not None), default=None
        ),
        reasons=_reasons(needs, flags, is_us=is_us),
        programs=_programs(site.pk, day, is_us=is_us),
        sensors=_sensors(site),
        visit_id=stop.visit.pk,
        raw_state=stop.state,
        is_published=stop.route.state == Route.State.PUBLISHED,
    )


def _programs(site_id: int, day: date, *, is_us: bool) -> tuple[KeyInProgram, ...]:
    """Programs to key in, their reasons in the reader's units."""
    found = programs_to_key_in(site_id=site_id, day=day)
    return tuple(
        replace(one, reasons=tuple(told(words, is_us=is_us) for words in one.reasons)) for one in found
    )


def _cautions(needs: list[VisitNeed], tmax_c: float | None, *, is_us: bool) -> tuple[str, ...]:
    """Cautions of the stop."""
    heat = "" if tmax_c is None else worded(tmax_c, "temperature", is_us=is_us)
    return cautions_for(frozenset(need.kind for need in needs), tmax_c, heat)


def _is_covered(need: VisitNeed, day: date) -> bool:
    """Tell whether a dig has a locate ticket that is valid on a day."""
    return bool(need.locate_ticket) and (
        need.locate_valid_until is not None and need.locate_valid_until >= day
    )


def _expected(needs: list[VisitNeed], *, is_us: bool) -> dict[int, Expected]:
    """Readings to expect this morning, by controller, where a sensor is to be looked at."""
    kinds = (VisitKind.SENSOR_CHECK, VisitKind.SENSOR_INSTALL, VisitKind.COMPLAINT)
    controllers = {need.controller_id for need in needs if need.kind in kinds and need.controller_id}
    states = WatchState.objects.filter(controller_id__in=controllers, controller__sensor__isnull=False)
    found = {}
    for state in states.select_related("controller__site", "controller__sensor"):
        expected = expected_readings(state=state, is_us=is_us)
        if expected is not None:
            found[state.controller_id] = expected
    return found


def _reasons(needs: list[VisitNeed], flags: dict[int, Flag], *, is_us: bool) -> tuple[ReasonRow, ...]:
    """Needs with their checks; what two reasons ask of one controller stands once, at the first."""
    expected = _expected(needs, is_us=is_us)
    seen: set[tuple[int | None, str]] = set()
    rows = []
    for need in needs:
        row = _reason(need, flags, expected.pop(need.controller_id or 0, None), is_us=is_us)
        checks = tuple(one for one in row.checks if (need.controller_id, one.code) not in seen)
        seen |= {(need.controller_id, one.code) for one in checks}
        rows.append(replace(row, checks=checks))
    return tuple(rows)


def _reason(need: VisitNeed, flags: dict[int, Flag], expected: Expected | None, *, is_us: bool) -> ReasonRow:
    """One need with its checks."""
    is_watch = need.origin == VisitNeed.Origin.WATCH
    flag = flags.get(need.controller_id or 0) if is_watch else None
    cause, evidence = (flag.cause, flag.evidence) if flag is not None else ("", "")
    return ReasonRow(
        need_id=need.pk,
        kind=need.kind,
        kind_words=need.get_kind_display(),
        reason=need.reason if need.origin in VisitNeed.BY_PEOPLE else told(need.reason, is_us=is_us),
        flag_id=flag.pk if flag else None,
        flag_cause=cause,
        flag_cause_words=CAUSE_WORDS.get(cause, ""),
        evidence=told(evidence, is_us=is_us),
        checks=tuple(_check(check) for check in checks_for(need.kind, cause)),
        parts=tuple(part.strip() for part in need.parts.split(";") if part.strip()),
        controller=need.controller.code if need.controller is not None else "",
        expected=expected,
    )


def _check(check: Check) -> CheckRow:
    """A check as a row."""
    return CheckRow(
        code=check.code,
        text=check.text,
        expect=check.expect,
        meaning=check.meaning,
        caution=check.caution,
        answer=check.answer,
        unit=check.unit,
        choices=check.choices,
        means=HELP.get(check.code, ()),
        quantity=check.quantity,
        photo=check.photo,
    )


def _tmax(site: Site, day: date) -> float | None:
    """Expected maximum of the day [degC]: the newest forecast, or what was measured."""
    if site.location_id is None:
        return None
    rows = DailyWeather.objects.filter(location_id=site.location_id, day=day, tmax_c__isnull=False)
    row = rows.order_by("-issued").values_list("tmax_c", flat=True).first()
    return float(row) if row is not None else None


def _sensors(site: Site) -> tuple[SensorPlace, ...]:
    """Sensors of a site with their places."""
    names = {
        (controller_id, station): name
        for controller_id, station, name in Zone.objects.filter(controller__site=site).values_list(
            "controller_id", "station", "name"
        )
    }
    places = []
    for sensor in Sensor.objects.filter(controller__site=site).select_related("controller"):
        point = sensor.shape
        spot = point.representative_point() if point is not None and not point.is_empty else None
        places.append(
            SensorPlace(
                controller=sensor.controller.code,
                station=sensor.station,
                zone_name=names.get((sensor.controller_id, sensor.station), ""),
                depth_mm=sensor.depth_mm,
                threshold_kpa=sensor.threshold_kpa,
                threshold_steps_kpa=sensor.threshold_steps,
                latitude=spot.y if spot is not None else None,
                longitude=spot.x if spot is not None else None,
            )
        )
    return tuple(places)
