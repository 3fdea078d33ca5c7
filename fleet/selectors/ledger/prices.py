"""What water costs where no bill tells: the mean of the suppliers' first tiers in force."""

from __future__ import annotations

from datetime import date

from fleet.calc.visits.settings import visit_settings
from fleet.models import Company, Tariff


def water_price_per_m3(*, day: date) -> float:
    """Price of water on a day [money/m3]: mean over suppliers, else the company's setting."""
    prices: dict[str, tuple[date, float, float]] = {}
    for tariff in Tariff.objects.filter(starts_on__lte=day).order_by("starts_on", "-tier_from_m3"):
        prices[tariff.supplier] = (tariff.starts_on, tariff.tier_from_m3, tariff.price_per_m3)
    if prices:
        return sum(price for _, _, price in prices.values()) / len(prices)
    company = Company.objects.only("settings").first()
    return visit_settings(company.settings if company else {}).water_price_per_m3
