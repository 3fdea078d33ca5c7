"""The company of this installation: founding it, what it is called and whose clock counts, and its people."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Final
from zoneinfo import available_timezones

from django.db import transaction

from fleet.models import Company, User
from sites.models import Change, Site
from sites.services.history import record_difference
from sites.services.site_clock import give_gardens_clock

KIND: Final = "company"
LONGEST_NAME: Final = 120


class AnotherCompany(RuntimeError):
    """The database holds another company; it is never mixed with a second one."""


class BadCompany(ValueError):
    """A fact of the company that cannot be kept; `field` names it, the message says what was expected."""

    def __init__(self, field: str, words: str) -> None:
        super().__init__(words)
        self.field = field


@dataclass(frozen=True, slots=True)
class CompanyFacts:
    """What a company says of itself.

    Parameters
    ----------
    name
        As it stands on papers.
    timezone
        IANA name of the clock by which its days and nights go.
    currency
        Three letters of ISO 4217.
    depot_latitude, depot_longitude
        Where a day begins unless a technician's own place is told [deg]; None: not told.
    """

    name: str
    timezone: str
    currency: str
    depot_latitude: float | None = None
    depot_longitude: float | None = None

    def __post_init__(self) -> None:
        if not self.name.strip() or len(self.name) > LONGEST_NAME or not self.name.isprintable():
            raise BadCompany("name", f"Name: expected 1 to {LONGEST_NAME} characters of plain text")
        if self.timezone not in available_timezones():
            raise BadCompany("timezone", "Time zone: expected one of the list, such as America/Denver")
        if len(self.currency) != 3 or not self.currency.isascii() or not self.currency.isalpha():
            raise BadCompany("currency", "Currency: expected three letters, such as USD")
        if (self.depot_latitude is None) != (self.depot_longitude is None):
            raise BadCompany("depot", "Depot: expected both latitude and longitude, or neither")
        if not (abs(self.depot_latitude or 0.0) <= 90 and abs(self.depot_longitude or 0.0) <= 180):
            raise BadCompany("depot", "Depot: expected degrees, latitude -90 to 90, longitude -180 to 180")


@dataclass(frozen=True, slots=True)
class CompanySet:
    """What came of it: whether the company is new, whether anything changed, gardens that got its clock."""

    is_new: bool
    is_changed: bool
    gardens: int


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
def set_company(*, facts: CompanyFacts, by: str, at: datetime) -> CompanySet:
    """Found the company, or change what it says of itself.

    With its founding, gardens that came in without a clock get the company's; later each keeps its own.
    """
    stored = Company.objects.select_for_update().first()
    before = None if stored is None else asdict(facts_of(stored))
    after = asdict(facts) | {"name": facts.name.strip(), "currency": facts.currency.upper()}
    Company.objects.update_or_create(pk=1, defaults=after)
    changed = record_difference(kind=KIND, key=KIND, site_code="", before=before, after=after, by=by, at=at)
    gardens = 0 if stored is not None else give_gardens_clock(timezone=facts.timezone, by=by, at=at)
    return CompanySet(is_new=stored is None, is_changed=changed > 0, gardens=gardens)


@transaction.atomic
def put_back_company(*, change_id: int, by: str, at: datetime) -> CompanySet:
    """What the company said of itself before an entry of the history; raises `BadCompany`."""
    entry = Change.objects.filter(pk=change_id, kind=KIND).first()
    stored = Company.objects.select_for_update().first()
    if entry is None or not entry.before or stored is None:
        raise BadCompany("", "There was nothing before this entry")
    return set_company(facts=CompanyFacts(**(asdict(facts_of(stored)) | entry.before)), by=by, at=at)


def facts_of(company: Company) -> CompanyFacts:
    """What a stored company says of itself."""
    return CompanyFacts(
        company.name, company.timezone, company.currency, company.depot_latitude, company.depot_longitude
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
