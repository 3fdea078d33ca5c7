"""Who asks, and which whole number an address or form asks for."""

from __future__ import annotations

from typing import Final, cast

from django.http import HttpRequest

from fleet.models import User

MOST_DIGITS: Final = 11


def asking_user(request: HttpRequest) -> User:
    """The signed-in person; the guard lets nobody else through."""
    return cast("User", request.user)


def asked_number(text: str | None, otherwise: int = 0) -> int:
    """A whole number of 0 or more; what is none, or longer than anybody means, is the other one."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS else otherwise
