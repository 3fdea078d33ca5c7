"""What keying in one recommended program costs, beside what it brings and from where a change counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.calc.visits.settings import planned_min, visit_settings
from fleet.models import Company
from fleet.selectors.ledger.prices import water_price_per_m3
from sites.calc.search.settings import ProgramSettings
from sites.models import Recommendation

_LITRES_PER_M3 = 1_000.0


@dataclass(frozen=True, slots=True)
class ChangeWorth:
    """A change over the four weeks.

    Parameters
    ----------
    minutes, cost
        Planned minutes at the timer [min], and what they cost without the drive [money].
    saved_l, saved
        Water that it saves, below 0 where it takes more [L], and what that costs [money].
    dry_days
        Dry zone-days that it spares [d]; nobody prices these.
    least_lost_l, least_lost
        Losses from which a change counts [L], and what they cost [money].
    least_dry_days
        Spared dry zone-days from which a change counts [d].
    least_missing_pct, least_loss_pct
        Need met, and losses per need, by which the new program must be better [%].
    currency
        Currency of the company.
    """

    minutes: float
    cost: float
    saved_l: float
    saved: float
    dry_days: float
    least_lost_l: float
    least_lost: float
    least_dry_days: float
    least_missing_pct: float
    least_loss_pct: float
    currency: str

    @property
    def more_l(self) -> float:
        """Water that it takes more [L]; 0 where it saves some."""
        return max(-self.saved_l, 0.0)

    @property
    def more(self) -> float:
        """What that costs [money]."""
        return max(-self.saved, 0.0)


def change_worth(*, row: Recommendation, day: date) -> ChangeWorth:
    """What a recommended change costs and brings.

    Parameters
    ----------
    row
        The round's answer, with its controller.
    day
        Day of the prices.
    """
    company = Company.objects.only("settings", "currency").first()
    settings = visit_settings(company.settings if company else {})
    minutes = planned_min(settings, "program_change")
    round_settings = ProgramSettings()
    price = water_price_per_m3(day=day)
    keep_loss = round_settings.keep_loss if row.controller.governed else round_settings.keep_loss_clock
    return ChangeWorth(
        minutes=minutes,
        cost=minutes / 60.0 * settings.cost_per_hour,
        saved_l=row.water_at_stake_l,
        saved=row.money_at_stake,
        dry_days=row.dry_zone_days_spared,
        least_lost_l=round_settings.least_lost_l,
        least_lost=round_settings.least_lost_l / _LITRES_PER_M3 * price,
        least_dry_days=round_settings.least_dry_days,
        least_missing_pct=100.0 * round_settings.keep_shortfall,
        least_loss_pct=100.0 * keep_loss,
        currency=company.currency if company else "money",
    )
