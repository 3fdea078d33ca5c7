"""Reads of one garden's water for its page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fleet.calc.ledger.house import NORMAL_90, use_range_l
from fleet.calc.ledger.reasons import reason_words
from fleet.calc.ledger.savings import MONTH_D as DAYS_A_MONTH
from fleet.models import LedgerMonth, LedgerSite, MeterLeak
from fleet.selectors.ledger.meter_leaks import leaks_of_site
from sites.models import Site


@dataclass(frozen=True, slots=True)
class WaterSite:
    """One garden's water."""

    site: Site
    months: list[LedgerMonth]
    summary: LedgerSite | None
    verdict: str
    reads: list[tuple[str, Any, float, str, str]]
    used_l: float | None
    need_l: float | None
    leaks: list[MeterLeak]
    used_range_l: tuple[float, float] | None
    estimated: int
    part: int
    told: int

    @property
    def idle_l_d(self) -> float | None:
        """Need up to which its baseline expects no use at all [L/d]; None where it always expects some."""
        model = self.summary.model if self.summary else None
        if not model or model["base_l_d"] >= 0 or model["slope"] <= 0:
            return None
        return float(model["change_point_l_d"] - model["base_l_d"] / model["slope"])


def water_site(*, code: str) -> WaterSite:
    """One garden's months, baseline and newest reads.

    Raises
    ------
    Site.DoesNotExist
        No garden has the code.
    """
    site = Site.objects.get(code=code)
    months = list(LedgerMonth.objects.filter(site=site).order_by("month"))
    summary = LedgerSite.objects.filter(site=site).first()
    told = [row for row in months if row.used_l is not None and row.need_l is not None][-12:]
    return WaterSite(
        site=site,
        months=months,
        summary=summary,
        verdict=reason_words(summary.verdict) if summary and summary.verdict else "",
        reads=_reads(site),
        used_l=sum(row.used_l or 0.0 for row in told) if told else None,
        need_l=sum(row.need_l or 0.0 for row in told) if told else None,
        leaks=leaks_of_site(site=site),
        used_range_l=_range(told, summary),
        estimated=sum(row.used_source == LedgerMonth.Source.ESTIMATED for row in told),
        part=sum(row.used_source == LedgerMonth.Source.PART for row in told),
        told=len(told),
    )


def _range(rows: list[LedgerMonth], summary: LedgerSite | None) -> tuple[float, float] | None:
    """Bounds of the use of some months together at 90 % [L]; None where a meter of the garden tells all.

    What an estimate or a house's share has wrong it has wrong in every month, so these errors go along. How
    bills are split into months matters to no sum of months.
    """
    used = sum(row.used_l or 0.0 for row in rows)
    sd_l = sum(row.used_sd_l or 0.0 for row in rows if row.used_source == LedgerMonth.Source.ESTIMATED)
    model = (summary.model if summary else None) or {}
    if "house_l_d" in model:
        metered = [row for row in rows if row.used_source != LedgerMonth.Source.ESTIMATED]
        width = model["house_high_l_d"] - model["house_low_l_d"]
        sd_l += width / 2.0 / NORMAL_90 * DAYS_A_MONTH * len(metered)
    return use_range_l(used, sd_l) if rows else None


def _reads(site: Site) -> list[tuple[str, Any, float, str, str]]:
    """Newest readings and volumes: meter, day, figure, unit, remark."""
    readings = site.meters.filter(readings__isnull=False).values_list(
        "kind",
        "code",
        "readings__read_at",
        "readings__reading",
        "readings__unit",
        "readings__read_kind",
        "readings__event",
    )
    volumes = site.meters.filter(volumes__isnull=False).values_list(
        "kind",
        "code",
        "volumes__start",
        "volumes__end",
        "volumes__volume_given",
        "volumes__unit",
        "volumes__is_estimated",
    )
    rows: list[tuple[str, Any, float, str, str]] = [
        (_meter_words(kind, code), at.date(), reading, unit, " ".join(filter(None, (read_kind, event))))
        for kind, code, at, reading, unit, read_kind, event in readings.order_by("-readings__read_at")[:36]
    ]
    for kind, code, start, end, volume, unit, guessed in volumes.order_by("-volumes__start")[:36]:
        what = "estimated volume" if guessed else "volume"
        remark = f"{what} since {start.day} {start:%b %Y}"
        rows.append((_meter_words(kind, code), end, volume, unit, remark))
    return rows


def _meter_words(kind: str, code: str) -> str:
    """What a meter feeds, and its number where it has one."""
    return f"{kind.replace('_', ' ')} {code}".rstrip()
