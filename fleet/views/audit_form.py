"""The form of a zone's audit: what was typed, in the reader's units, as an entry in SI."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from django.http import QueryDict

from fleet.quantities import entered, shown
from sites.calc.audit.entry import AuditEntry, BadEntry, read_cans
from sites.models import Zone, ZoneAudit
from sites.models.choices import Head

BOXES: Final = 24
BOXES_A_ROW: Final = 8
# Opening of a can as an auditor knows it, to square centimetres.
OPENINGS: Final[dict[str, str]] = {
    "cm2": "cm², area",
    "in2": "in², area",
    "mm": "mm, diameter",
    "in": "in, diameter",
}
_CM_PER_INCH: Final = 2.54
_LONGEST: Final = 6_000


@dataclass(slots=True)
class AuditForm:
    """What stands in the boxes (texts as typed), what is wrong with them, and the entry."""

    values: dict[str, str] = field(default_factory=dict)
    cans: list[str] = field(default_factory=list)
    heads: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    entry: AuditEntry = field(default_factory=AuditEntry)
    done_on: date | None = None

    @property
    def boxes(self) -> list[str]:
        """Boxes of the cans, in whole rows."""
        wanted = max(BOXES, math.ceil(len(self.cans) / BOXES_A_ROW) * BOXES_A_ROW)
        return self.cans + [""] * (wanted - len(self.cans))

    @property
    def head_rows(self) -> list[tuple[str, str, str]]:
        """Classes of head: name, word, number as typed."""
        return [(head.value, str(head.label), self.heads.get(head.value, "")) for head in Head]

    @property
    def seen(self) -> str:
        """A mark of the entry: what is saved must be what was shown."""
        plain = repr((self.entry, sorted((self.entry.heads or {}).items())))
        return hashlib.sha256(plain.encode()).hexdigest()[:24]


def empty_form(*, zone: Zone, newest: ZoneAudit | None, today: date, who: str, is_us: bool) -> AuditForm:
    """The form as it opens: today, oneself, the area of the book, the cans used last time at the site."""
    values = {
        "done_on": today.isoformat(),
        "done_by": who,
        "area": _plain(shown(zone.area_m2, "area", is_us=is_us)),
        "opening_unit": "in2" if is_us else "cm2",
    }
    if newest is not None and newest.throat_area_cm2:
        area = newest.throat_area_cm2
        values["opening"] = _plain(area / _CM_PER_INCH**2 if is_us else area)
    return AuditForm(values=values)


def read_form(post: QueryDict, *, is_us: bool) -> AuditForm:
    """The form as it was sent; what cannot be read stands in `errors`."""
    names = (
        "done_on", "done_by", "run_min", "opening", "opening_unit", "flow", "area", "pressure", "static",
        "wind", "note",
    )  # fmt: skip
    form = AuditForm({name: post.get(name, "")[:400].strip() for name in names})
    form.heads = {head: post.get(f"heads-{head}", "")[:4].strip() for head in Head.values}
    form.cans = [text.strip()[:12] for text in post.getlist("can")[:_LONGEST] if text.strip()]
    catch = _catches(form, post.get("paste", "")[:_LONGEST])
    flow = _number(form, "flow", "flow", is_us=is_us)
    form.entry = AuditEntry(
        catch_ml=catch,
        throat_area_cm2=_opening(form),
        run_min=_number(form, "run_min", "", is_us=is_us),
        flow_l_min=flow,
        area_m2=_number(form, "area", "area", is_us=is_us) if flow is not None else None,
        pressure_kpa=_number(form, "pressure", "pressure", is_us=is_us),
        static_pressure_kpa=_number(form, "static", "pressure", is_us=is_us),
        wind_m_s=_number(form, "wind", "speed", is_us=is_us, least=0.0),
        heads=_heads(form) or None,
    )
    try:
        form.done_on = date.fromisoformat(form.values["done_on"])
    except ValueError:
        form.errors["done_on"] = "a day as 2026-06-14"
    if not form.values["done_by"]:
        form.errors["done_by"] = "who measured"
    return form


def _catches(form: AuditForm, pasted: str) -> tuple[float, ...]:
    """Catches of the boxes and of what was pasted; afterwards all of them stand in boxes."""
    try:
        # In its own box a comma is the decimal sign; in a pasted text it parts two cans.
        own = [value for text in form.cans for value in read_cans(text.replace(",", "."))]
        catch = (*own, *read_cans(pasted))
    except BadEntry as error:
        form.errors["cans"] = str(error)
        form.cans += pasted.split()[: 2 * BOXES]
        return ()
    form.cans = [f"{value:g}" for value in catch]
    return catch


def _number(form: AuditForm, name: str, kind: str, *, is_us: bool, least: float = 1e-9) -> float | None:
    """A number of a box in SI, None where it is empty."""
    text = form.values[name].replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not least <= value < 1e7 or "_" in text:
        form.errors[name] = "a number above 0" if least > 0 else "a number from 0 on"
        return None
    return entered(value, kind, is_us=is_us) if kind else value


def _opening(form: AuditForm) -> float | None:
    """Opening of a can [cm2]."""
    value = _number(form, "opening", "", is_us=False)
    if value is None:
        return None
    unit = form.values["opening_unit"]
    across_cm = {"mm": value / 10, "in": value * _CM_PER_INCH}.get(unit)
    if across_cm is not None:
        return math.pi / 4 * across_cm**2
    return value * _CM_PER_INCH**2 if unit == "in2" else value


def _heads(form: AuditForm) -> dict[str, int]:
    """Numbers of heads by class, those above 0."""
    counts = {}
    for head, text in form.heads.items():
        if not text:
            continue
        if not (text.isascii() and text.isdigit()):
            form.errors["heads"] = "whole numbers of heads"
        elif int(text):
            counts[head] = int(text)
    return counts


def _plain(value: float) -> str:
    """A number as a person would type it."""
    return f"{value:.4g}" if abs(value) < 1000 else f"{value:.0f}"
