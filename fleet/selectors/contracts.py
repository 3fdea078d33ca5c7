"""A garden's service contract: what it includes, what was used of it, when it ends."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.models import ServiceContract, Stop
from fleet.selectors.ledger_reports import RENEWAL_DAYS
from sites.models import Site


@dataclass(frozen=True, slots=True)
class ContractStanding:
    """A contract as it stands on a day; `made` counts finished visits of its time."""

    contract: ServiceContract
    made: int
    days_left: int  # to its end; 0 or less: it is over
    is_ahead: bool  # it has not begun
    is_renewed: bool  # a later one of the garden follows

    @property
    def left(self) -> int:
        """Included visits that were not made yet."""
        return max(0, self.contract.visits_included - self.made)

    @property
    def over(self) -> int:
        """Visits beyond those included."""
        return max(0, self.made - self.contract.visits_included)

    @property
    def is_over(self) -> bool:
        """Whether its last day is past."""
        return self.days_left <= 0

    @property
    def is_due(self) -> bool:
        """Whether it ends within 120 days and none follows."""
        return 0 < self.days_left <= RENEWAL_DAYS and not self.is_renewed


def contract_standing(*, site: Site, today: date) -> ContractStanding | None:
    """The contract in force, else the last one that was, else the first to come; None: there is none."""
    rows = list(ServiceContract.objects.filter(site=site).order_by("starts_on"))
    if not rows:
        return None
    begun = [row for row in rows if row.starts_on <= today]
    running = [row for row in begun if row.ends_on > today]
    row = running[-1] if running else begun[-1] if begun else rows[0]
    made = (
        Stop.objects.filter(
            visit__site=site,
            state=Stop.State.FINISHED,
            route__day__gte=row.starts_on,
            route__day__lt=row.ends_on,
        )
        .values("visit_id")
        .distinct()
        .count()
    )
    return ContractStanding(
        contract=row,
        made=made,
        days_left=(row.ends_on - today).days,
        is_ahead=row.starts_on > today,
        is_renewed=any(other.ends_on > row.ends_on for other in rows),
    )
