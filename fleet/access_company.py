"""Roles of the company's own pages: prices, parts, quotes, contracts, technicians; a part of `access`."""

from __future__ import annotations

from typing import Final

from django.db.models import Model

from fleet.models import Part, Quote, ServiceContract, StockPlace, Technician, User
from sites.models import Change

_D, _M, _A = User.Role.DISPATCHER.value, User.Role.MANAGER.value, User.Role.ADMINISTRATOR.value
_OFFICE: Final = frozenset({_D, _M, _A})
_DESK: Final = frozenset({_D, _A})

COMPANY_ROLES: Final[dict[str, frozenset[str]]] = {
    "fleet:company": frozenset({_A}),
    **dict.fromkeys(
        ("fleet:settings", "fleet:settings-save", "fleet:settings-hours", "fleet:settings-back"), _OFFICE
    ),
    **dict.fromkeys(("fleet:stock", "fleet:stock-csv", "fleet:stock-place"), _OFFICE),
    **dict.fromkeys(
        ("fleet:stock-move", "fleet:stock-start", "fleet:stock-undo", "fleet:part", "fleet:part-new"), _DESK
    ),
    **dict.fromkeys(("fleet:quotes", "fleet:quote", "fleet:quote-paper"), _OFFICE),
    **dict.fromkeys(("fleet:quote-new", "fleet:quote-step"), _OFFICE),
    **dict.fromkeys(("fleet:contracts", "fleet:contracts-csv", "fleet:contract"), _OFFICE),
    **dict.fromkeys(("fleet:contract-new", "fleet:contract-step", "fleet:contract-back"), _OFFICE),
    "fleet:technicians": _OFFICE,
    **dict.fromkeys(
        ("fleet:technician", "fleet:technician-new", "fleet:technician-certificate", "fleet:technician-back"),
        _DESK,
    ),
}
COMPANY_THINGS: Final[dict[str, type[Model]]] = {
    "fleet:settings-back": Change,
    **dict.fromkeys(("fleet:stock-place", "fleet:stock-move"), StockPlace),
    "fleet:part": Part,
    **dict.fromkeys(("fleet:technician", "fleet:technician-certificate"), Technician),
    "fleet:technician-back": Change,
    **dict.fromkeys(("fleet:quote", "fleet:quote-step", "fleet:quote-paper"), Quote),
    **dict.fromkeys(("fleet:contract", "fleet:contract-step"), ServiceContract),
    "fleet:contract-back": Change,
}
