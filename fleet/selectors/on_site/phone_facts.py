"""Settings of the phone, and whose things a phone keeps."""

from __future__ import annotations

from typing import Final

from django.conf import settings
from django.utils.crypto import salted_hmac

from fleet.calc.on_site.phone_settings import PhoneSettings, phone_settings
from fleet.models import Company, User

_OWNER: Final = "fleet.phone-owner"
_SEAL: Final = "fleet.phone-seal"


def company_phone() -> PhoneSettings:
    """The company's settings of the phone."""
    company = Company.objects.only("settings").first()
    return phone_settings(company.settings if company else {})


def owner_of(*, user: User) -> str:
    """A name for a person that tells nothing but sameness: what a phone keeps is marked with it."""
    return salted_hmac(_OWNER, str(user.pk), algorithm="sha256").hexdigest()[:24]


def seals_of(*, user: User) -> list[str]:
    """Keys with which a phone seals what waits for this person, the present one first.

    After a change of the installation's secret key the older seals still open, as long as the old key
    stands among the fallbacks.
    """
    return [
        salted_hmac(_SEAL, str(user.pk), secret=key, algorithm="sha256").hexdigest()
        for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)
    ]
