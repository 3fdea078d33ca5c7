"""The company: people, needs, routes, watch, water, money."""

from fleet.models.company import AuditEntry, Company, StageRun
from fleet.models.contracts import ContractVisits, ServiceContract
from fleet.models.day_breaks import CustomerCall, DayBreak, HeldWindow
from fleet.models.devices import DeviceToken
from fleet.models.needs import Visit, VisitKind, VisitNeed
from fleet.models.people import Certificate, SecondFactor, Technician, User
from fleet.models.phone import Photo, ReportLink, Submission
from fleet.models.planning import Planning
from fleet.models.quotes import Quote, QuoteLine
from fleet.models.rebates import Rebate, RebateClaim
from fleet.models.routes import Finding, PlanRun, Route, Stop
from fleet.models.season import BackflowRule, LocationSeason
from fleet.models.stock import Part, PartForKind, StockMinimum, StockMove, StockPlace
from fleet.models.watch import Cause, Flag, WatchDay, WatchFit, WatchHabit, WatchState, WatchStatus
from fleet.models.water import LedgerMonth, LedgerPortfolio, LedgerSite, MeterLeak, Tariff

__all__ = [
    "AuditEntry",
    "BackflowRule",
    "Cause",
    "Certificate",
    "Company",
    "ContractVisits",
    "CustomerCall",
    "DayBreak",
    "DeviceToken",
    "Finding",
    "Flag",
    "HeldWindow",
    "LedgerMonth",
    "LedgerPortfolio",
    "LedgerSite",
    "LocationSeason",
    "MeterLeak",
    "Part",
    "PartForKind",
    "Photo",
    "PlanRun",
    "Planning",
    "Quote",
    "QuoteLine",
    "Rebate",
    "RebateClaim",
    "ReportLink",
    "Route",
    "SecondFactor",
    "ServiceContract",
    "StageRun",
    "StockMinimum",
    "StockMove",
    "StockPlace",
    "Stop",
    "Submission",
    "Tariff",
    "Technician",
    "User",
    "Visit",
    "VisitKind",
    "VisitNeed",
    "WatchDay",
    "WatchFit",
    "WatchHabit",
    "WatchState",
    "WatchStatus",
]
