"""What is typed about parts, checked before a service sees it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from fleet.models import VisitKind
from fleet.services.company.parts import PartInput
from fleet.services.company.stock import BadStock

FIELD: Final = "n-"
MOST_DIGITS: Final = 6


def counts_of(form: Mapping[str, str], *, with_nothing: bool = False) -> dict[str, int]:
    """Counts by part, from fields `n-CODE`; empty ones are left out. Raises `BadStock`."""
    found = {}
    for name, value in form.items():
        text = value.strip()
        if not name.startswith(FIELD) or not text:
            continue
        code = name.removeprefix(FIELD)[:40]
        if not (text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS):
            raise BadStock(f"{code}: {text[:20]!r}, expected a whole number")
        if int(text) or with_nothing:
            found[code] = int(text)
    if not found:
        raise BadStock("parts: type how many of at least one part")
    return found


def least_of(form: Mapping[str, str]) -> dict[str, int | None]:
    """Minima by part, from fields `n-CODE`; a hyphen takes a minimum away. Raises `BadStock`."""
    gone = {name for name, value in form.items() if name.startswith(FIELD) and value.strip() == "-"}
    kept = {name: value for name, value in form.items() if name not in gone}
    found: dict[str, int | None] = {name.removeprefix(FIELD)[:40]: None for name in gone}
    if not gone or any(name.startswith(FIELD) and value.strip() for name, value in kept.items()):
        found |= counts_of(kept, with_nothing=True)
    return found


def part_of(form: Mapping[str, str]) -> PartInput:
    """A part as the form says it; raises `BadStock`."""
    plain = {name: form.get(name, "").strip() for name in ("code", "name", "unit")}
    kinds = {}
    for kind in VisitKind.values:
        text = form.get(f"kind-{kind}", "").strip()
        if text and text != "0":
            if not (text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS):
                raise BadStock(f"needed for {kind}: {text[:20]!r}, expected a whole number")
            kinds[kind] = int(text)
    price = form.get("price", "").strip().replace(",", ".")
    try:
        money = float(price) if price else None
    except ValueError:
        raise BadStock(f"price: {price[:20]!r}, expected a number") from None
    return PartInput(
        plain["code"],
        plain["name"],
        plain["unit"],
        money,
        is_active=form.get("is_active") == "yes",
        kinds=kinds,
    )
