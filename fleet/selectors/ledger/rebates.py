"""Rebates, the gardens that qualify, and what a garden's dossier holds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django.core.paginator import Page, Paginator
from django.db.models import Count, F, Min, Q
from django.db.models.functions import TruncMonth

from fleet.calc.ledger.rebates import (
    OPEN,
    STANDINGS,
    RebateFacts,
    RebateRules,
    Standing,
    rebate_amount,
    rebate_standing,
)
from fleet.models import Finding, LedgerMonth, LedgerSite, Photo, Rebate, RebateClaim
from fleet.selectors.ledger.audit import SiteAudit, site_audit
from sites.models import Change, Meter, Sensor, Site, Zone

ROWS_A_PAGE: Final = 40
_NO_MONTHS: Final = {"all": 0, "before": 0, "after": 0}
_METERED: Final = (LedgerMonth.Source.METERED, LedgerMonth.Source.PART)


@dataclass(frozen=True, slots=True)
class RebateRow:
    """A garden and where it stands."""

    site_id: int
    code: str
    name: str
    standing: Standing
    amount: float | None

    @property
    def word(self) -> str:
        """The standing in words."""
        return STANDINGS[self.standing.state]


@dataclass(frozen=True, slots=True)
class RebatePage:
    """A rebate with the gardens of its supplier, those of one standing listed."""

    rebate: Rebate
    is_over: bool
    shows: list[tuple[str, str, int]]
    show: str
    listed: Page[RebateRow]
    open_amount: float


@dataclass(frozen=True, slots=True)
class RebateList:
    """All rebates with the count of the supplier's gardens and of claims sent or paid."""

    rows: list[tuple[Rebate, int, int]]
    running: int
    next_end: date | None  # of those that run


def rebate_list(*, today: date) -> RebateList:
    """The rebates, and how many of them run on a day."""
    gardens = dict(Site.objects.order_by().values_list("supplier").annotate(n=Count("pk")))
    claims = dict(
        RebateClaim.objects.filter(state__in=("sent", "paid"))
        .order_by()
        .values_list("rebate_id")
        .annotate(n=Count("pk"))
    )
    rows = [(one, gardens.get(one.supplier, 0), claims.get(one.pk, 0)) for one in Rebate.objects.all()]
    ends = [one.ends_on for one, _, _ in rows if one.starts_on <= today < one.ends_on]
    return RebateList(rows, len(ends), min(ends, default=None))


def rebate_page(*, rebate: Rebate, today: date, show: str, number: int) -> RebatePage:
    """Where every garden of the rebate's supplier stands; the ones of a standing, those due first."""
    rows = rebate_rows(rebate=rebate, today=today)
    shows = [(key, word, sum(row.standing.state == key for row in rows)) for key, word in STANDINGS.items()]
    show = show if show in STANDINGS else OPEN
    some = [row for row in rows if row.standing.state == show]
    some.sort(key=lambda row: (row.standing.apply_by or date.max, row.code))
    return RebatePage(
        rebate=rebate,
        is_over=today >= rebate.ends_on,
        shows=shows,
        show=show,
        listed=Paginator(some, ROWS_A_PAGE).get_page(number),
        open_amount=sum(row.amount or 0.0 for row in rows if row.standing.state == OPEN),
    )


def rebate_rows(*, rebate: Rebate, today: date, site_id: int | None = None) -> list[RebateRow]:
    """Where gardens of a rebate's supplier stand, by code; a fixed number of queries for all.

    Parameters
    ----------
    rebate
        The rebate.
    today
        Day of the question.
    site_id
        One garden only; None for all.
    """
    sites = Site.objects.filter(supplier=rebate.supplier)
    if site_id is not None:
        sites = sites.filter(pk=site_id)
    ids = sites.order_by().values("pk")
    sensors = dict(
        Sensor.objects.filter(controller__site__in=ids)
        .order_by()
        .values_list("controller__site_id")
        .annotate(first=Min("installed_on"))
    )
    meters = set(Meter.objects.filter(site__in=ids).order_by().values_list("site_id", flat=True))
    stations = dict(
        Zone.objects.filter(controller__site__in=ids)
        .order_by()
        .values_list("controller__site_id")
        .annotate(n=Count("pk"))
    )
    claims = {row.site_id: row for row in RebateClaim.objects.filter(rebate=rebate)}
    months = _months(ids) if rebate.months_before or rebate.months_after else {}
    rules = RebateRules(*(getattr(rebate, name) for name in RebateRules.__slots__))
    rows = []
    for pk, code, name in sites.order_by("code").values_list("pk", "code", "name"):
        claim = claims.get(pk)
        facts = RebateFacts(
            has_sensor=pk in sensors,
            installed_on=sensors.get(pk),
            has_meter=pk in meters,
            months_before=months.get(pk, _NO_MONTHS)["before" if pk in sensors else "all"],
            months_after=months.get(pk, _NO_MONTHS)["after"],
            is_approved=bool(claim and claim.approved_on),
            is_claimed=bool(claim and claim.state in ("sent", "paid", "refused")),
        )
        amount = rebate_amount(
            amount=rebate.amount,
            amount_per_station=rebate.amount_per_station,
            share_of_cost=rebate.share_of_cost,
            most=rebate.most,
            stations=stations.get(pk, 0),
            invoice_total=claim.invoice_total if claim else None,
        )
        standing = rebate_standing(rules=rules, facts=facts, today=today)
        rows.append(RebateRow(pk, code, name, standing, amount))
    return rows


def _months(ids: Any) -> dict[int, dict[str, int]]:
    """Metered months of each garden: all, and those before and after its change."""
    change = F("site__ledger__change_on")
    rows = LedgerMonth.objects.filter(site__in=ids, used_source__in=_METERED).order_by().values("site_id")
    counted = rows.annotate(
        all=Count("pk"),
        before=Count(
            "pk", filter=Q(month__lt=TruncMonth(change))
        ),  # the month in which the sensor came is neither
        after=Count("pk", filter=Q(month__gte=change)),
    )
    return {
        row["site_id"]: {"all": row["all"], "before": row["before"], "after": row["after"]} for row in counted
    }


@dataclass(frozen=True, slots=True)
class Dossier:
    """All that the supplier asks for, as far as the book knows it."""

    row: RebateRow
    rebate: Rebate
    site: Site
    claim: RebateClaim | None
    installed_on: date | None
    zones: list[Zone]
    area_m2: float
    photos: list[Photo]
    programs: list[Change]
    findings: list[Finding]
    before: list[LedgerMonth]
    after: list[LedgerMonth]
    summary: LedgerSite | None
    audit: SiteAudit | None
    meters: list[str]
    keep_until: date | None


def rebate_dossier(*, rebate: Rebate, site: Site, today: date) -> Dossier | None:
    """A garden's dossier; None where the garden has another supplier."""
    rows = rebate_rows(rebate=rebate, today=today, site_id=site.pk)
    if not rows:
        return None
    summary = LedgerSite.objects.filter(site=site).first()
    installed: date | None = Sensor.objects.filter(controller__site=site).aggregate(d=Min("installed_on"))[
        "d"
    ]
    zones = list(Zone.objects.filter(controller__site=site).select_related("controller"))
    months = LedgerMonth.objects.filter(site=site, used_source__in=_METERED).order_by("month")
    return Dossier(
        row=rows[0],
        rebate=rebate,
        site=site,
        claim=RebateClaim.objects.filter(rebate=rebate, site=site).first(),
        installed_on=installed,
        zones=zones,
        area_m2=sum(zone.area_m2 for zone in zones),
        photos=list(Photo.objects.filter(visit__site=site).order_by("taken_at")),
        programs=list(
            Change.objects.filter(site_code=site.code, kind__startswith="program").order_by("-at")[:6]
        ),
        findings=list(Finding.objects.filter(visit__site=site).order_by("-recorded_at")[:6]),
        before=list(months.filter(month__lt=installed.replace(day=1)))[-12:] if installed else [],
        after=list(months.filter(month__gte=installed)[:12]) if installed else [],
        summary=summary,
        audit=site_audit(site=site, summary=summary),
        meters=sorted(set(site.meters.exclude(code="").values_list("code", flat=True))),
        keep_until=_years_on(installed, rebate.keep_years) if installed else None,
    )


def _years_on(day: date, years: int) -> date:
    """The same day some years on; 29 February becomes 1 March."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def suppliers_of_book() -> list[str]:
    """Suppliers of the book's gardens."""
    return sorted(set(Site.objects.exclude(supplier="").order_by().values_list("supplier", flat=True)))
