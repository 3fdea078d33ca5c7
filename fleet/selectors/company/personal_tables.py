"""Every table that holds something of a garden's customer: what is handed out, what an erasure takes.

A model with a way to a garden is here, or its columns say nothing that somebody wrote of a person;
`tests/fleet/access/test_personal_tables.py` holds both lists against the models.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from django.db.models import Model, QuerySet

from fleet.models import (
    CustomerCall,
    Finding,
    Flag,
    LedgerMonth,
    MeterLeak,
    Photo,
    Quote,
    QuoteLine,
    RebateClaim,
    ReportLink,
    ServiceContract,
    StockMove,
    Stop,
    Submission,
    Visit,
    VisitNeed,
)
from sites.models import BypassLog, Fixture, MeterReading, MeterVolume, Recommendation, Site, ZoneAudit


@dataclass(frozen=True, slots=True)
class PersonalTable:
    """One table of what is kept of a customer.

    Parameters
    ----------
    name
        Of the table in the file that is handed out.
    model
        Its model.
    way
        From a row to its garden.
    columns
        What is handed out.
    written
        Columns of people's words, and what an erasure leaves in each.
    """

    name: str
    model: type[Model]
    way: str
    columns: tuple[str, ...]
    written: Mapping[str, Any] = field(default_factory=dict)

    def rows_of(self, site: Site) -> QuerySet[Any]:
        """Its rows of a garden."""
        return self.model._base_manager.filter(**{self.way: site}).order_by("pk")

    def rows_with_words(self, site: Site) -> QuerySet[Any]:
        """Those in which somebody's words stand."""
        rows = self.rows_of(site)
        with_words = self.model._base_manager.none()
        for name, left in self.written.items():
            with_words = with_words | rows.exclude(**{name: left})
        return with_words


TABLES: Final[tuple[PersonalTable, ...]] = (
    PersonalTable(
        "needs",
        VisitNeed,
        "site",
        ("kind", "origin", "reason", "state", "raised_on", "closed_on", "note", "withdrawn_why"),
        {"note": "", "withdrawn_why": ""},
    ),
    PersonalTable("visits", Visit, "site", ("week", "state", "window_from", "window_to", "told_at")),
    PersonalTable(
        "stops",
        Stop,
        "visit__site",
        (
            "route__day",
            "route__technician__name",
            "arrive",
            "depart",
            "state",
            "state_at",
            "not_possible_reason",
        ),
        {"not_possible_reason": ""},
    ),
    PersonalTable(
        "calls", CustomerCall, "visit__site", ("made_at", "why", "outcome", "note", "by"), {"note": ""}
    ),
    PersonalTable(
        "findings",
        Finding,
        "visit__site",
        (
            "recorded_at",
            "technician__name",
            "kind",
            "verdict",
            "cause",
            "turf",
            "parts_used",
            "follow_up",
            "note",
            "answers",
            "words",
        ),
        {"note": "", "follow_up": "", "parts_used": ""},
    ),
    PersonalTable("photos", Photo, "visit__site", ("taken_at", "caption", "latitude", "longitude", "sha256")),
    PersonalTable(
        "sent_by_phones",
        Submission,
        "visit__site",
        ("received_at", "kind", "outcome", "payload", "words"),
        {"payload": {}, "words": []},
    ),
    PersonalTable(
        "report_links",
        ReportLink,
        "visit__site",
        ("made_at", "made_by", "expires_at", "revoked_at", "opened"),
    ),
    PersonalTable(
        "contracts",
        ServiceContract,
        "site",
        ("starts_on", "ends_on", "visits_included", "price", "currency", "notice_days", "ended_why"),
        {"ended_why": ""},
    ),
    PersonalTable(
        "quotes",
        Quote,
        "site",
        (
            "title",
            "state",
            "currency",
            "words",
            "made_on",
            "sent_on",
            "valid_until",
            "decided_on",
            "decided_how",
        ),
        {"words": "", "decided_how": ""},
    ),
    PersonalTable(
        "quote_lines", QuoteLine, "quote__site", ("quote__title", "words", "count", "unit", "unit_price")
    ),
    PersonalTable(
        "rebate_claims",
        RebateClaim,
        "site",
        ("rebate__name", "state", "account", "device", "invoice", "area_method", "note"),
        {"account": "", "device": "", "invoice": "", "note": ""},
    ),
    PersonalTable(
        "sensor_flags",
        Flag,
        "controller__site",
        ("raised_on", "cause", "closed_on", "resting_reason"),
        {"resting_reason": ""},
    ),
    PersonalTable(
        "programs",
        Recommendation,
        "controller__site",
        ("week", "status", "decided_by", "note", "outside_reason"),
        {"note": "", "outside_reason": ""},
    ),
    PersonalTable(
        "zone_audits", ZoneAudit, "zone__controller__site", ("done_on", "done_by", "note"), {"note": ""}
    ),
    PersonalTable("fixtures", Fixture, "site", ("kind", "note"), {"note": ""}),
    PersonalTable(
        "parts_used",
        StockMove,
        "finding__visit__site",
        ("part__name", "change", "at", "by", "note"),
        {"note": ""},
    ),
    PersonalTable(
        "bypass_logs",
        BypassLog,
        "controller__site",
        ("start", "end", "starts_bypassed", "starts_scheduled", "method", "note"),
        {"note": ""},
    ),
    PersonalTable(
        "meter_volumes", MeterVolume, "meter__site", ("meter__kind", "start", "end", "volume_given", "unit")
    ),
    PersonalTable(
        "meter_readings", MeterReading, "meter__site", ("meter__code", "read_at", "reading", "unit")
    ),
    PersonalTable("leaks", MeterLeak, "meter__site", ("since", "until", "rate_l_h", "basis")),
    PersonalTable(
        "water_by_month",
        LedgerMonth,
        "site",
        ("month", "used_l", "used_source", "need_l", "saved_l", "saved_low_l", "saved_high_l"),
    ),
)
