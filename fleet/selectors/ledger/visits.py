"""What visits brought: water, and the money that it is worth, set against what they cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fleet.calc.ledger.visit_effects import MONTHS
from fleet.models import LedgerPortfolio, VisitKind


@dataclass(frozen=True, slots=True)
class Worth:
    """Money that the water saved by one visit is worth in the months measured, with its 90 % interval.

    Parameters
    ----------
    value, low, high
        Worth of what one visit saved in the three months after it [money].
    cost
        Cost of the visit [money].
    """

    value: float
    low: float
    high: float
    cost: float

    @property
    def months(self) -> float | None:
        """Months until the saved water has paid for the visit, if it goes on so; None where it saves none."""
        return self.cost / (self.value / MONTHS) if self.value > 0 else None

    @property
    def word(self) -> str:
        """Whether the three months pay for the visit, as far as the interval tells."""
        if self.low >= self.cost:
            return "pays"
        return "does not pay" if self.high < self.cost else "open"


@dataclass(frozen=True, slots=True)
class VisitValue:
    """Visits of a kind: how many, cost of one, and litres a month that one saved (None: no answer)."""

    word: str
    visits: int
    cost: float
    told: int
    saved_l: float | None
    low_l: float | None
    high_l: float | None
    plain_l: float | None
    worth: Worth | None = None


def visit_values_stored(rows: Sequence[LedgerPortfolio], *, price_per_m3: float | None) -> list[VisitValue]:
    """What visits brought as the night kept it, the most frequent kinds first.

    Parameters
    ----------
    rows
        Stored spans of the book; one of them holds the visits.
    price_per_m3
        What a saved cubic metre is worth in the company's currency; None: no money is told.
    """
    stored: dict[str, Any] = next((row.values["visits"] for row in rows if row.values.get("visits")), {})
    words = dict(VisitKind.choices)
    found = [
        VisitValue(str(words.get(kind, kind)), **values, worth=_worth(values, price_per_m3))
        for kind, values in stored.items()
    ]
    return sorted(found, key=lambda one: (-one.visits, one.word))


def _worth(values: dict[str, Any], price_per_m3: float | None) -> Worth | None:
    """Money of one visit's three months; None without an answer or a price."""
    if price_per_m3 is None or values["saved_l"] is None:
        return None
    a_litre = MONTHS * price_per_m3 / 1000.0
    value, low, high = (float(values[name]) * a_litre for name in ("saved_l", "low_l", "high_l"))
    return Worth(value, low, high, float(values["cost"]))


def saved_price(rows: Sequence[LedgerPortfolio]) -> float | None:
    """What a cubic metre beyond need cost on average over the whole time, by the tariffs [money/m3].

    Parameters
    ----------
    rows
        Stored spans of the book.
    """
    whole = max(rows, key=lambda row: row.period_end - row.period_start, default=None)
    values = whole.values.get("by", {}).get("all", {}).get("all") if whole is not None else None
    if not values or not values["over_money"] or values["over_l"] <= 0:
        return None
    return float(values["over_money"]) / float(values["over_l"]) * 1000.0
