"""The few places that each role needs, in the role's own order."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import NoReverseMatch, reverse

from fleet.models import User


@dataclass(frozen=True, slots=True)
class Place:
    """One entry of the index at the left."""

    word: str
    url: str
    is_here: bool


# The few places of each role, in the role's own order; the second group stands apart below.
PLACES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    User.Role.DISPATCHER: (
        (
            "fleet:week",
            "fleet:visits",
            "fleet:quotes",
            "fleet:contracts",
            "fleet:findings",
            "fleet:site-list",
            "fleet:watch-list",
            "fleet:round",
            "fleet:season",
            "fleet:water",
        ),
        (
            "fleet:technicians",
            "fleet:settings",
            "fleet:stock",
            "weather:page",
            "fleet:rules",
            "fleet:bring",
            "fleet:words",
        ),
    ),
    User.Role.MANAGER: (
        (
            "fleet:water",
            "fleet:visits",
            "fleet:quotes",
            "fleet:contracts",
            "fleet:findings",
            "fleet:site-list",
            "fleet:watch-list",
            "fleet:round",
            "fleet:season",
        ),
        ("fleet:technicians", "fleet:settings", "fleet:stock", "weather:page", "fleet:rules", "fleet:words"),
    ),
    User.Role.TECHNICIAN: (("fleet:day",), ("fleet:words",)),
    User.Role.ADMINISTRATOR: (
        (
            "fleet:week",
            "fleet:visits",
            "fleet:quotes",
            "fleet:contracts",
            "fleet:findings",
            "fleet:site-list",
            "fleet:watch-list",
            "fleet:round",
            "fleet:season",
            "fleet:day",
            "fleet:water",
        ),
        (
            "fleet:technicians",
            "fleet:settings",
            "fleet:stock",
            "weather:page",
            "fleet:rules",
            "fleet:bring",
            "fleet:words",
            "fleet:company",
            "fleet:people",
            "fleet:operations",
            "fleet:audit-log",
            "fleet:devices",
            "admin:index",
        ),
    ),
}
PLACE_WORDS: dict[str, str] = {
    "fleet:week": "This week",
    "fleet:visits": "Visits",
    "fleet:quotes": "Quotes",
    "fleet:contracts": "Contracts",
    "fleet:findings": "Findings",
    "fleet:site-list": "Sites",
    "fleet:watch-list": "Sensor watch",
    "fleet:round": "Weekly round",
    "fleet:season": "Season",
    "fleet:water": "Water",
    "fleet:day": "Day",
    "fleet:technicians": "Technicians",
    "fleet:settings": "Prices and times",
    "fleet:stock": "Parts",
    "weather:page": "Weather",
    "fleet:rules": "Watering rules",
    "fleet:bring": "Imports",
    "fleet:words": "Words",
    "fleet:company": "Company",
    "fleet:people": "People",
    "fleet:audit-log": "Audit log",
    "fleet:operations": "Operations",
    "fleet:devices": "Devices",
    "admin:index": "Tariffs",
}
# Pages that stand below a place of the index.
BELOW: dict[str, str] = {
    "fleet:first-steps": "fleet:bring",
    "fleet:bring-file": "fleet:bring",
    "fleet:bring-save": "fleet:bring",
    "fleet:weather-day": "weather:page",
    **dict.fromkeys(("fleet:quote", "fleet:quote-new", "fleet:quote-paper"), "fleet:quotes"),
    **dict.fromkeys(("fleet:contract", "fleet:contract-new"), "fleet:contracts"),
    **dict.fromkeys(("fleet:technician", "fleet:technician-new"), "fleet:technicians"),
    **dict.fromkeys(("fleet:settings-save", "fleet:settings-back"), "fleet:settings"),
    **dict.fromkeys(("fleet:stock-place", "fleet:stock-move", "fleet:part", "fleet:part-new"), "fleet:stock"),
    "fleet:need": "fleet:visits",
    "fleet:finding-correct": "fleet:findings",
    "fleet:visit-report": "fleet:findings",
    "fleet:waiting": "fleet:day",
    "fleet:need-new": "fleet:visits",
    "fleet:break-new": "fleet:week",
    "fleet:break": "fleet:week",
    "fleet:calls": "fleet:week",
    "fleet:appointment": "fleet:week",
    "fleet:site": "fleet:site-list",
    "fleet:customer": "fleet:site-list",
    "fleet:sheet": "fleet:site-list",
    "fleet:site-draw": "fleet:site-list",
    "fleet:station-exchange": "fleet:site-list",
    "fleet:survey": "fleet:site-list",
    "fleet:sensor-places": "fleet:site-list",
    "fleet:siting": "fleet:site-list",
    "fleet:site-audits": "fleet:site-list",
    "fleet:zone-audit": "fleet:site-list",
    "fleet:search": "fleet:site-list",
    "fleet:watch": "fleet:watch-list",
    "fleet:watch-record": "fleet:watch-list",
    "fleet:water-site": "fleet:water",
    "fleet:water-parts": "fleet:water",
    "fleet:water-report": "fleet:water",
    "fleet:water-renewals": "fleet:water",
    "fleet:water-customer": "fleet:water",
    **dict.fromkeys(
        ("fleet:rebates", "fleet:rebate", "fleet:rebate-new", "fleet:rebate-edit", "fleet:rebate-dossier"),
        "fleet:water",
    ),
    "fleet:water-unjudged": "fleet:water",
    "fleet:stop": "fleet:day",
    "fleet:rule-set": "fleet:rules",
    "fleet:rules-drill": "fleet:rules",
    "fleet:rule-edit": "fleet:rules",
    "fleet:rule-new": "fleet:rules",
}


def place_of(name: str, here: str) -> Place | None:
    """Return the entry of a view, or None where this installation has no such page."""
    try:
        return Place(word=PLACE_WORDS[name], url=reverse(name), is_here=name == here)
    except NoReverseMatch:
        return None
