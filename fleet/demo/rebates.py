"""What the invented suppliers pay towards a sensor, and how far a few gardens' claims are."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any, Final

from fleet.models import Rebate
from fleet.selectors.ledger.rebates import rebate_rows
from fleet.services.ledger.rebates import save_claim, save_rebate
from sites.models import Meter, Sensor

BY: Final = "ruth"
INVOICE: Final = 489.4
# Claims are made for gardens whose sensor came so many days ago, after its year of metered months [d].
CLAIMED_BACK: Final = (440, 530)


def enter_demo_rebates(*, today: date, morning: datetime) -> int:
    """Enter the rebates, and claims of three gardens: paid, sent, being prepared; how many rebates.

    Parameters
    ----------
    today, morning
        The company's today, and its moment.
    """
    entered = [
        save_rebate(rebate_id=None, values=values, by=BY, now=morning - timedelta(days=30)).pk
        for values in _rebates(today)
    ]
    _claim(Rebate.objects.get(pk=entered[0]), today=today, morning=morning)
    return len(entered)


def _rebates(today: date) -> tuple[dict[str, Any], ...]:
    """Two rebates: one for what a year of reads has shown, one towards new sensors with a word before."""
    common = {
        "currency": "USD",
        "needs_meter": True,
        "keep_years": 5,
        "checked_on": today - timedelta(days=30),
    }
    return (
        common
        | {
            "name": "Sensor with a year of reads",
            "supplier": "Wend Valley Water",
            "starts_on": date(today.year - 2, 1, 1),
            "ends_on": date(today.year + 1, 1, 1),
            "amount": 90.0,
            "amount_per_station": 12.0,
            "share_of_cost": 0.0,
            "most": 220.0,
            "apply_within_days": 600,
            "asks_before_work": False,
            "months_before": 12,
            "months_after": 12,
            "papers": "photo of the timer and of the sensor before the ground is closed",
        },
        common
        | {
            "name": "Half a sensor",
            "supplier": "Hillside Mutual",
            "starts_on": date(today.year, 4, 1),
            "ends_on": date(today.year, 11, 1),
            "amount": 0.0,
            "amount_per_station": 0.0,
            "share_of_cost": 0.5,
            "most": 250.0,
            "apply_within_days": 60,
            "asks_before_work": True,
            "months_before": 6,
            "months_after": 0,
            "papers": "invoice with its parts, owner’s consent",
        },
    )


def _claim(rebate: Rebate, *, today: date, morning: datetime) -> None:
    """Claims of the first gardens whose year of reads is over."""
    installed = Sensor.objects.filter(
        installed_on__gte=today - timedelta(days=CLAIMED_BACK[1]),
        installed_on__lte=today - timedelta(days=CLAIMED_BACK[0]),
        controller__site__in=Meter.objects.values("site_id"),
        controller__site__supplier=rebate.supplier,
    )
    rows = installed.order_by("-controller__site__code").values_list("controller__site_id", "installed_on")
    firsts = {site_id: came for site_id, came in rows if came is not None}
    for (site_id, came), state in zip(sorted(firsts.items()), ("paid", "sent", "prepared"), strict=False):
        amount = rebate_rows(rebate=rebate, today=today, site_id=site_id)[0].amount
        values: dict[str, Any] = {
            "state": state,
            "account": f"WV-{40_000 + site_id}",
            "consent_on": came - timedelta(days=9),
            "device": f"buried tension sensor, serial {7_000 + 13 * site_id}",
            "invoice": f"{came.year}-{100 + site_id}",
            "invoice_on": came + timedelta(days=12),
            "invoice_total": INVOICE,
            "area_method": "taped on site, drawn on the lot plan",
        }
        if state != "prepared":
            values["sent_on"] = today - timedelta(days=70 if state == "paid" else 11)
        if state == "paid":
            values["paid"] = amount
        save_claim(rebate_id=rebate.pk, site_id=site_id, values=values, by=BY, now=morning)
