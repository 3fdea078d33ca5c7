"""The ground: sites and what stands in them."""

from sites.models.audit import ZoneAudit
from sites.models.balance import BalanceFront, BalanceMonth
from sites.models.controller import Controller, Sensor
from sites.models.ground import Fixture, Sprinkler, Structure, ValveBox, Wire
from sites.models.history import Change
from sites.models.log import BypassLog
from sites.models.meter import Meter, MeterReading, MeterVolume
from sites.models.program import ProgramLine, ProgramSet, Recommendation, RecommendationLine
from sites.models.rules import RuleSet, RuleStage
from sites.models.site import Site
from sites.models.zone import Zone

__all__ = [
    "BalanceFront",
    "BalanceMonth",
    "BypassLog",
    "Change",
    "Controller",
    "Fixture",
    "Meter",
    "MeterReading",
    "MeterVolume",
    "ProgramLine",
    "ProgramSet",
    "Recommendation",
    "RecommendationLine",
    "RuleSet",
    "RuleStage",
    "Sensor",
    "Site",
    "Sprinkler",
    "Structure",
    "ValveBox",
    "Wire",
    "Zone",
    "ZoneAudit",
]
