"""The balance as rows of the contract's export."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Final

import numpy as np

from sites.calc.balance.irrigation import IrrigationSource
from sites.models import Zone
from sites.selectors.balance import balance_days

COLUMNS: Final = (
    "date", "site", "controller", "station", "eto_mm", "etl_mm", "rain_mm", "effective_rain_mm",
    "irrigation_net_mm", "irrigation_source", "depletion_mm", "depletion_sd_mm", "allowed_mm", "stress",
)  # fmt: skip
_ZONES_AT_ONCE: Final = 2_000


def rows(*, start: date, end: date, private: bool = False) -> Iterator[dict[str, object]]:
    """Zone by zone, day by day; days that are not computed are left out.

    Parameters
    ----------
    start, end
        First day, and the day after the last.
    private
        Nothing in the balance is private; taken so that all exports are called alike.
    """
    del private
    zones = list(
        Zone.objects.order_by("controller__site__code", "controller__code", "station").values_list(
            "pk", "controller__site__code", "controller__code", "station"
        )
    )
    for left in range(0, len(zones), _ZONES_AT_ONCE):
        some = zones[left : left + _ZONES_AT_ONCE]
        balance = balance_days(zone_ids=[zone[0] for zone in some], start=start, end=end)
        numbers = {
            "eto_mm": balance.reference_et_mm,
            "etl_mm": balance.landscape_et_mm,
            "rain_mm": balance.rain_mm,
            "effective_rain_mm": balance.effective_rain_mm,
            "irrigation_net_mm": balance.irrigation_net_mm,
            "depletion_mm": balance.depletion_mm,
            "depletion_sd_mm": balance.depletion_sd_mm,
            "stress": balance.stress,
        }
        for at, (_, site, controller, station) in enumerate(some):
            for day in np.flatnonzero(~np.isnan(balance.depletion_mm[:, at])):
                source = IrrigationSource(int(balance.irrigation_source[day, at]))
                row: dict[str, object] = {
                    "date": str(balance.days[day]),
                    "site": site,
                    "controller": controller,
                    "station": station,
                    "irrigation_source": source.name.lower(),
                    "allowed_mm": round(float(balance.allowed_mm[at]), 3),
                    **{name: round(float(column[day, at]), 3) for name, column in numbers.items()},
                }
                yield {name: row[name] for name in COLUMNS}
