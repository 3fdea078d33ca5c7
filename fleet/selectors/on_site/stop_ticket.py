"""A stop's ticket: whose stop it was when the phone took it along, signed so that nobody can write one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from django.core import signing

from fleet.models import Stop, User

_SALT: Final = "fleet.stop-ticket"


class BadTicket(ValueError):
    """The ticket is not ours, of somebody else, or too old; the message says which."""


@dataclass(frozen=True, slots=True)
class Ticket:
    """Which stop of whom, as the phone knew it."""

    user_id: int
    stop_id: int
    visit_id: int
    technician_id: int
    day: date


def ticket_for(*, stop: Stop, user: User) -> str:
    """The ticket that goes out with a stop's page."""
    facts = [user.pk, stop.pk, stop.visit_id, stop.route.technician_id, stop.route.day.isoformat()]
    return signing.dumps(facts, salt=_SALT)


def read_ticket(*, text: str, user_id: int, today: date, days: float) -> Ticket:
    """The ticket of a text, if it is this person's and not too old.

    Parameters
    ----------
    text
        As it went out.
    user_id
        Who sends.
    today
        The company's day.
    days
        How old the stop's day may be [d].
    """
    try:
        user, stop, visit, technician, day = signing.loads(text, salt=_SALT)
        ticket = Ticket(user, stop, visit, technician, date.fromisoformat(day))
    except (signing.BadSignature, ValueError, TypeError) as error:
        raise BadTicket("this is no ticket of ours") from error
    if ticket.user_id != user_id:
        raise BadTicket("this was written under another name; sign in with that name to send it")
    if (today - ticket.day).days > days:
        raise BadTicket(f"this stop was on {ticket.day.isoformat()}, too long ago to be sent")
    return ticket
