"""What a company has brought so far, so that the first steps can say what comes next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from fleet.models import Company, Technician, User
from sites.models import BypassLog, ProgramSet, RuleSet, Site
from weather.models import DailyWeather


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that the pages need: what it is for, where it is done, whether it is there."""

    head: str
    text: str
    deeds: tuple[tuple[str, str], ...]  # words of a button and the name of its page
    command: str  # the same on the server
    is_done: bool = False


# Each step with the question whether it is done; in the order in which pages begin to answer.
STEPS: Final[tuple[tuple[Step, Callable[[], bool]], ...]] = (
    (
        Step(
            "Name and clock of the company",
            "What stands on papers, the time zone by which days and the night's work go, and the money. "
            "Without them nothing runs by night, and no price can be kept.",
            (("Found the company", "fleet:company"),),
            'found_company --name "..." --timezone America/Denver --currency USD',
        ),
        lambda: Company.objects.exists(),
    ),
    (
        Step(
            "The site book",
            "Sites, controllers, zones and sensors, from GeoJSON, GeoPackage, KML, a zipped shapefile, or a "
            "CSV of sites alone. A file with only sites is enough to begin; the rest can be drawn.",
            (("Bring your sites", "fleet:bring"),),
            "import_book FILE",
        ),
        lambda: Site.objects.exists(),
    ),
    (
        Step(
            "Weather for its locations",
            "Public services are asked every night for each location of the book, or at once on the weather "
            "page; a file of an own station comes in under Imports.",
            (("Connect weather", "weather:page"), ("Bring a weather file", "fleet:bring")),
            "pull_weather --days 90",
        ),
        lambda: DailyWeather.objects.exists(),
    ),
    (
        Step(
            "Watering rules",
            "What each water supplier allows. Until a set is written, every hour counts as open.",
            (("Write the rules", "fleet:rules"),),
            "import_rules FILE",
        ),
        lambda: RuleSet.objects.exists(),
    ),
    (
        Step(
            "Programs and bypass logs",
            "What each controller is set to, and what its sensor blocked. A garden without logs shows too "
            "little data, never in order.",
            (("Bring programs or logs", "fleet:bring"),),
            "import_programs FILE, import_bypass FILE",
        ),
        lambda: ProgramSet.objects.exists() and BypassLog.objects.exists(),
    ),
    (
        Step(
            "Who drives",
            "Hours, skills, and where the day starts. Needed for the board, not for the watch.",
            (("Enter a technician", "fleet:technician-new"), ("Bring a file of all", "fleet:bring")),
            "import_technicians FILE",
        ),
        lambda: Technician.objects.exists(),
    ),
    (
        Step(
            "Who signs in",
            "Dispatchers, managers and technicians, each by a link that sets the own password. An "
            "administrator invites them under People.",
            (("Invite people", "fleet:people"),),
            "createsuperuser",
        ),
        lambda: User.objects.filter(is_active=True)[1:2].exists(),
    ),
)


def has_sites() -> bool:
    """Return whether the book has any site."""
    return Site.objects.exists()


def first_steps() -> tuple[Step, ...]:
    """Every step with what is there of it."""
    return tuple(
        Step(step.head, step.text, step.deeds, step.command, is_done=is_done()) for step, is_done in STEPS
    )
