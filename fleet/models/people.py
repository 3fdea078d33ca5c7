"""Who uses the product, and who drives."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, ClassVar

from django.conf import settings
from django.contrib.auth.models import AbstractUser, UserManager
from django.db import models
from django.db.models import F, Q
from django.utils.crypto import salted_hmac

_SESSION_SALT = "fleet.models.people.User.session"


class AccountManager(UserManager["User"]):
    """Accounts; one made on the command line is the administrator's."""

    def create_superuser(
        self, username: str, email: str | None = None, password: str | None = None, **extra_fields: Any
    ) -> User:
        """An administrator who may also enter Django's admin."""
        extra_fields.setdefault("role", User.Role.ADMINISTRATOR)
        return super().create_superuser(username, email, password, **extra_fields)


class User(AbstractUser):
    """An account with one role and its own way of reading numbers."""

    class Role(models.TextChoices):
        DISPATCHER = "dispatcher", "dispatcher"
        TECHNICIAN = "technician", "technician"
        MANAGER = "manager", "manager"
        ADMINISTRATOR = "administrator", "administrator"

    class Units(models.TextChoices):
        METRIC = "metric", "metric"
        US = "us", "US customary"

    class Theme(models.TextChoices):
        LIGHT = "light", "light"
        DARK = "dark", "dark"
        CONTRAST = "contrast", "high contrast"

    role = models.CharField(max_length=15, choices=Role.choices, default=Role.DISPATCHER)
    units = models.CharField(max_length=8, choices=Units.choices, default=Units.METRIC)
    clock_24h = models.BooleanField(default=True)
    theme = models.CharField(max_length=8, choices=Theme.choices, blank=True)  # empty: as the device has it
    # Counted up where all sessions of this account shall end.
    session_epoch = models.PositiveIntegerField(default=0)

    objects: ClassVar[AccountManager] = AccountManager()

    class Meta:
        ordering = ["username"]

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    def get_session_auth_hash(self) -> str:
        """What every session of this account carries: another password, role or epoch ends them all."""
        return self._session_hash(settings.SECRET_KEY)

    def get_session_auth_fallback_hash(self) -> Iterator[str]:
        """The same by keys that were in use before."""
        return (self._session_hash(secret) for secret in settings.SECRET_KEY_FALLBACKS)

    def _session_hash(self, secret: str | bytes) -> str:
        """Password, role and epoch, sealed."""
        said = f"{self.password}|{self.role}|{self.session_epoch}"
        return salted_hmac(_SESSION_SALT, said, secret=secret, algorithm="sha256").hexdigest()


class SecondFactor(models.Model):
    """A code of a phone's clock (RFC 6238); its secret follows from `seed` and SECRET_KEY."""

    user = models.OneToOneField(User, on_delete=models.CASCADE, related_name="second_factor")
    seed = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True, blank=True)  # null: not asked for yet
    last_step = models.BigIntegerField(default=0)  # of the newest code taken: none is taken twice
    recovery_hashes = models.JSONField(default=list, blank=True)  # SHA-256 of codes of 80 random bits
    failures = models.PositiveSmallIntegerField(default=0)
    shut_until = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"second factor of {self.user_id}"


class Technician(models.Model):
    """A person on the road: where the day starts and ends, when, and what they may do."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    user = models.OneToOneField(
        User, on_delete=models.SET_NULL, null=True, blank=True, related_name="technician"
    )
    start_latitude = models.FloatField()
    start_longitude = models.FloatField()
    end_latitude = models.FloatField()
    end_longitude = models.FloatField()
    shift_start = models.TimeField()
    shift_end = models.TimeField()
    workdays = models.CharField(max_length=40)  # mon,tue,wed,thu,fri
    days_off = models.TextField(blank=True)  # ISO days, `;`-separated
    skills = models.CharField(max_length=200, blank=True)  # `;`-separated
    break_min = models.PositiveSmallIntegerField(default=30)
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(shift_end__gt=F("shift_start")), name="technician_shift_ends_after_start"
            ),
            models.CheckConstraint(
                condition=Q(
                    start_latitude__gte=-90,
                    start_latitude__lte=90,
                    end_latitude__gte=-90,
                    end_latitude__lte=90,
                ),
                name="technician_on_earth",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Certificate(models.Model):
    """A paper without which a skill does not count, such as that of a certified backflow tester."""

    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="certificates")
    skill = models.CharField(max_length=40)
    number = models.CharField(max_length=60)
    valid_until = models.DateField()  # the last day on which it holds

    class Meta:
        ordering = ["technician_id", "skill", "-valid_until"]
        constraints = [
            models.UniqueConstraint(
                fields=["technician", "skill", "number"], name="certificate_once_a_number"
            )
        ]

    def __str__(self) -> str:
        return f"{self.technician_id} {self.skill} {self.number}"
