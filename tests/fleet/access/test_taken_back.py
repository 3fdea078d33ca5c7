"""Whatever a person changes can be taken back, or the page says beforehand that it cannot.

The addresses come from the role matrix: each that serves a POST to anybody stands in one of the tables below.
Who adds one adds it here, with its way back.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from fleet.access import ROLES, T
from tests.fleet.access.test_role_matrix import CALLERS, MADE_ELSEWHERE, MATRIX

TEMPLATES = Path(__file__).parents[3] / "templates"

# Taken back at another address.
BACK = {
    "fleet:week-plan": "fleet:week-undo", "fleet:stop-move": "fleet:week-undo",
    "fleet:stop-drop": "fleet:week-undo", "fleet:break-accept": "fleet:week-undo",
    "fleet:hold-confirm": "fleet:week-undo",
    "fleet:hold": "fleet:hold-release", "fleet:hold-release": "fleet:hold",
    "fleet:need-new": "fleet:need-withdraw", "fleet:need-withdraw": "fleet:need-reopen",
    "fleet:need-reopen": "fleet:need-withdraw", "fleet:appointment": "fleet:need-withdraw",
    "fleet:break-new": "fleet:break-discard", "fleet:settings-save": "fleet:settings-back",
    "fleet:settings-hours": "fleet:settings-back",
    "fleet:settings-back": "fleet:settings-back", "fleet:technician": "fleet:technician-back",
    "fleet:technician-back": "fleet:technician-back", "fleet:stock-move": "fleet:stock-undo",
    "fleet:stop-finding": "fleet:finding-decide", "fleet:finding-correct": "fleet:finding-decide",
    "fleet:phone-send": "fleet:finding-decide", "fleet:bring": "fleet:bring-throw",
    "fleet:site-draw-save": "fleet:site-restore", "fleet:site-restore": "fleet:site-restore",
    "fleet:station-exchange": "fleet:site-restore",
    "fleet:rule-edit": "fleet:rule-restore", "fleet:rule-new": "fleet:rule-remove",
    "fleet:rule-remove": "fleet:rule-restore", "fleet:rule-restore": "fleet:rule-restore",
    "fleet:rules-switch": "fleet:rule-restore", "fleet:report-link": "fleet:report-link-revoke",
    "fleet:devices": "fleet:device-revoke", "fleet:zone-audit": "fleet:zone-audit-withdraw",
    "fleet:contract": "fleet:contract-back", "fleet:contract-new": "fleet:contract-back",
    "fleet:contract-step": "fleet:contract-back", "fleet:contract-back": "fleet:contract-back",
    "fleet:people": "fleet:person", "fleet:round-edit": "fleet:round-decide",
}  # fmt: skip
# The same form, or the button beside it, sets it back.
SAME = {
    "fleet:company",
    "fleet:week-publish", "fleet:stop-lock", "fleet:need-change", "fleet:need-tell", "fleet:need-ticket",
    "fleet:call-note", "fleet:part", "fleet:part-new", "fleet:quote", "fleet:quote-new", "fleet:quote-step",
    "fleet:rebate-new", "fleet:rebate-edit", "fleet:rebate-dossier", "fleet:round-decide",
    "fleet:round-decide-many", "fleet:round-freeze", "fleet:season-rule", "fleet:site-rain",
    "fleet:technician-new", "fleet:technician-certificate", "fleet:watch-setting", "fleet:weather-order",
    "fleet:weather-reference", "fleet:account", "fleet:account-factor", "fleet:account-password",
    "fleet:person", "fleet:finding-decide", "fleet:finding-decide-many", "fleet:finding-state",
    "fleet:stop-state", "fleet:survey-answer", "fleet:bring-columns", "fleet:bring-words",
    "fleet:bring-repairs",
}  # fmt: skip
# Nothing of a person's is changed by it: it undoes, stops, tries, asks a worker, or throws a mere look away.
NOTHING = {
    "fleet:week-undo", "fleet:week-stop", "fleet:break-discard", "fleet:stock-undo", "fleet:bring-again",
    "fleet:bring-stop", "fleet:bring-throw", "fleet:run-retry", "fleet:weather-pull",
    "fleet:stock-start", "fleet:account-sessions",
}  # fmt: skip
# Not to be taken back: the page that has the button says so.
FINAL = {
    "fleet:customer": ("fleet/account/customer.html", "cannot be taken back"),
    "fleet:device-revoke": ("fleet/devices.html", "A revoked token stays revoked"),
    "fleet:report-link-revoke": ("fleet/report/page.html", "A link that is taken back stays shut"),
    "fleet:zone-audit-withdraw": ("fleet/zone_audit.html", "An audit that is taken back stays so"),
    "fleet:watch-flag": ("fleet/watch.html", "cannot be opened again"),
    "fleet:bring-save": ("fleet/bring_done.html", "The history keeps who, when, before and after"),
}


def served() -> set[str]:
    """Addresses of people that serve a POST to anybody."""
    rows = csv.DictReader(MATRIX.open(encoding="utf-8"))
    return {
        row["address"]
        for row in rows
        if row["method"].split()[-1] == "POST"
        and row["address"].startswith("fleet:")
        and (row["address"] in MADE_ELSEWHERE or "open" in {row[caller] for caller in CALLERS})
    }


def test_every_change_has_its_way_back_or_says_that_it_has_none() -> None:
    tables = (set(BACK), SAME, NOTHING, set(FINAL))
    known = set().union(*tables)

    assert served() - known == set(), "say in this file how it is taken back"
    assert known - served() == set(), "these serve no POST any more"
    assert sum(map(len, tables)) == len(known), "one table each"


@pytest.mark.parametrize(("deed", "back"), BACK.items())
def test_whoever_may_do_it_may_take_it_back(deed: str, back: str) -> None:
    # What technicians send from the garden, the office takes back.
    assert ROLES[deed] - {T} <= ROLES[back]


@pytest.mark.parametrize(("template", "words"), FINAL.values(), ids=list(FINAL))
def test_what_is_final_is_said_to_be(template: str, words: str) -> None:
    assert words in (TEMPLATES / template).read_text(encoding="utf-8")
