"""What can be gone to and done by words: each page and action with the words that people look for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.urls import reverse

from fleet.access import A, may_see


@dataclass(frozen=True, slots=True)
class Doing:
    """A page or an action: what it says, where it is, other words for it."""

    says: str
    name: str
    words: str = ""
    query: str = ""

    @property
    def url(self) -> str:
        """The address."""
        return reverse(self.name) + self.query


DOINGS: Final[tuple[Doing, ...]] = (
    Doing("This week: board and list", "fleet:week", "plan dispatch routes drag lanes map"),
    Doing("Calls: customers whose hours moved", "fleet:calls", "phone ring told hours list"),
    Doing("Find a time for a customer", "fleet:appointment", "appointment phone hold hours slot"),
    Doing(
        "The day breaks: somebody runs late",
        "fleet:break-new",
        "late delay held up replan today",
        "?kind=late",
    ),
    Doing(
        "The day breaks: an urgent leak",
        "fleet:break-new",
        "leak burst emergency urgent today",
        "?kind=urgent",
    ),
    Doing("The day breaks: somebody is ill", "fleet:break-new", "ill sick away today replan", "?kind=ill"),
    Doing(
        "The day breaks: a customer cancelled",
        "fleet:break-new",
        "cancelled off visit today",
        "?kind=cancelled",
    ),
    Doing("Enter a visit", "fleet:need-new", "new need call customer rang complaint phone"),
    Doing("Visits: every need", "fleet:visits", "needs open withdrawn tickets"),
    Doing("Quotes for extra work", "fleet:quotes", "offer approval customer word declined expired"),
    Doing("Make a quote", "fleet:quote-new", "offer extra work new sensor"),
    Doing(
        "Contracts: included visits, what was used, renewals",
        "fleet:contracts",
        "service contract renewal included price notice overused",
    ),
    Doing("Enter a contract", "fleet:contract-new", "new service contract customer bought"),
    Doing("Take out the contracts as CSV", "fleet:contracts-csv", "export file spreadsheet"),
    Doing(
        "Technicians: hours, skills, certificates", "fleet:technicians", "shift days off break home tester"
    ),
    Doing("Prices and times: what a visit is worth", "fleet:settings", "settings value cost minutes weights"),
    Doing("Parts: stock by truck and depot", "fleet:stock", "stock truck load minimum sensor splice"),
    Doing("Enter a part", "fleet:part-new", "catalogue price"),
    Doing("Findings to check", "fleet:findings", "technician found accept correct"),
    Doing("Sites: list of gardens", "fleet:site-list", "gardens customers addresses"),
    Doing(
        "First steps: bring sites, connect weather, invite people", "fleet:first-steps", "start set up begin"
    ),
    Doing("Bring a file", "fleet:bring", "import upload sites book programs logs weather"),
    Doing("Sensor watch: flags", "fleet:watch-list", "sensors faults bypass"),
    Doing("How often the watch was right", "fleet:watch-record", "record precision false alarms"),
    Doing("Weekly round: programs to decide", "fleet:round", "accept hold recommended"),
    Doing("Print today’s program sheets", "fleet:sheets", "paper sheet"),
    Doing("Print today’s sheets for homeowners", "fleet:sheets", "paper sheet letter", "?for=home"),
    Doing("Season: frost, start-up, winterization", "fleet:season", "spring autumn calendar"),
    Doing("Sensors in a wrong place", "fleet:sensor-places", "siting misplaced"),
    Doing("Water: used against needed", "fleet:water", "ledger saved report"),
    Doing("Water that cannot be judged", "fleet:water-unjudged", "bills not enough data"),
    Doing("Rebates: gardens that qualify", "fleet:rebates", "money dossier utility programme"),
    Doing("Contracts that end soon", "fleet:water-renewals", "renewal contract customer"),
    Doing("Report of the quarter", "fleet:water-report", "water ledger print paper board"),
    Doing("Take out the water ledger as CSV", "fleet:water-csv", "export file spreadsheet"),
    Doing("Take out the water ledger as GeoPackage", "fleet:water-gpkg", "export map gis points"),
    Doing("Weather of each location", "weather:page", "rain forecast stations pull"),
    Doing("Watering rules", "fleet:rules", "restrictions hours supplier law"),
    Doing("Try another stage of the rules", "fleet:rules-drill", "drought drill"),
    Doing("A day on the road", "fleet:day", "stops route today technician"),
    Doing("What waits on this phone", "fleet:waiting", "queue send offline"),
    Doing("Company: name, clock, money", "fleet:company", "time zone timezone currency depot found begin"),
    Doing("People: invite, change a role, shut an account", "fleet:people", "accounts users password reset"),
    Doing("Operations: what runs, what broke", "fleet:operations", "stages workers queue health status"),
    Doing("Audit log: who saw what", "fleet:audit-log", "privacy customer data"),
    Doing("Devices and their tokens", "fleet:devices", "api logger meter"),
    Doing(
        "Your settings: units, clock, colours", "fleet:account", "metric us theme dark contrast preferences"
    ),
    Doing("Change your password", "fleet:account-password", "security"),
    Doing("Set up a second factor", "fleet:account-factor", "two factor code phone security"),
    Doing("Words and abbreviations", "fleet:words", "help glossary terms meaning"),
    Doing("Keys of every page", "fleet:keys", "keyboard shortcuts help"),
    Doing("Tariffs of water suppliers", "admin:index", "settings tariffs admin price water tier"),
)


def doings_for(*, role: str, text: str, most: int = 12) -> tuple[Doing, ...]:
    """What a role may do that answers every word; without words, all of it."""
    words = text.casefold().split()
    found = [
        one
        for one in DOINGS
        if (role == A if one.name.startswith("admin:") else may_see(role, one.name)) and _answers(one, words)
    ]
    found.sort(key=lambda one: not one.says.casefold().startswith(text.casefold().strip()))
    return tuple(found if not words else found[:most])


def _answers(one: Doing, words: list[str]) -> bool:
    """Whether each word begins one of the doing's words."""
    has = f"{one.says} {one.words}".casefold().replace(":", " ").replace(",", " ").split()
    return all(any(own.startswith(word) for own in has) for word in words)
