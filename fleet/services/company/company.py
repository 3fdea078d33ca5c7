"""The company of this installation: founding it, and its people."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db import transaction

from fleet.models import Company, User
from sites.models import Site


class AnotherCompany(RuntimeError):
    """The database holds another company; it is never mixed with a second one."""


@dataclass(frozen=True, slots=True)
class DemoFounding:
    """What is founded for a demo."""

    name: str
    timezone: str
    currency: str
    seed: int
    today: date
    depot: tuple[float, float]  # latitude, longitude
    layers: Mapping[str, object]


@transaction.atomic
def found_demo_company(*, founding: DemoFounding) -> Company:
    """The demo's company, in a database that holds nothing yet.

    Raises
    ------
    AnotherCompany
        There is a company, or there are sites, already.
    """
    if Company.objects.exists() or Site.objects.exists():
        raise AnotherCompany("This database holds another company. Use an empty one for the demo.")
    return Company.objects.create(
        pk=1,
        name=founding.name,
        timezone=founding.timezone,
        currency=founding.currency,
        is_demo=True,
        demo_seed=founding.seed,
        demo_today=founding.today,
        depot_latitude=founding.depot[0],
        depot_longitude=founding.depot[1],
        map_layers=dict(founding.layers),
    )


@transaction.atomic
def add_accounts(*, people: Iterable[tuple[str, str, str, str]]) -> int:
    """Accounts of (login, first name, last name, role), without a password; how many are new."""
    new = 0
    for login, first_name, last_name, role in people:
        user, made = User.objects.get_or_create(
            username=login, defaults={"first_name": first_name, "last_name": last_name, "role": role}
        )
        if made:
            user.set_unusable_password()
            user.save(update_fields=["password"])
            new += 1
    return new


@transaction.atomic
def set_passwords(*, passwords: Mapping[str, str]) -> None:
    """New passwords by login."""
    for user in User.objects.filter(username__in=passwords):
        user.set_password(passwords[user.username])
        user.save(update_fields=["password"])
