"""What happened at a site: changes of the book, flags, findings, the newest first."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from fleet.calc.on_site.sensor_reading import reading_words
from fleet.models import Finding, Flag, Photo
from fleet.selectors.on_site.photo_files import photos_of_findings
from fleet.selectors.plan.stop_rows import company_zone
from sites.models import Change, Site
from sites.models.history import can_restore

HIDDEN = frozenset({"gate_code"})
_FINGERPRINT = re.compile(r"[0-9a-f]{32,64}")


@dataclass(frozen=True, slots=True)
class Entry:
    """One line. `shape` is a state's shape or empty."""

    day: date
    shape: str
    text: str
    by: str
    # Changes that one click puts back, parted by commas; empty where nothing can be put back.
    entries: str = ""
    told: tuple[tuple[str, str, str], ...] = ()  # field, before, after
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True, slots=True)
class SiteHistory:
    """The newest entries, and how many there are in all."""

    entries: tuple[Entry, ...]
    total: int


def site_history(*, site: Site, most: int) -> SiteHistory:
    """The newest entries of a site."""
    zone = company_zone()
    changes = Change.objects.filter(site_code=site.code)
    flags = Flag.objects.filter(controller__site=site).select_related("controller")
    findings = Finding.objects.filter(visit__site=site).select_related("technician")
    newest = list(findings[:most])
    photos = photos_of_findings(finding_ids=[one.pk for one in newest])
    entries = _change_entries(list(changes[: 4 * most]), zone)
    for flag in flags[:most]:
        entries += _flag_entries(flag)
    entries += [
        Entry(
            finding.recorded_at.astimezone(zone).date(),
            "",
            _finding_words(finding),
            finding.technician.name if finding.technician else "",
            photos=tuple(photos.get(finding.pk, ())),
        )
        for finding in newest
    ]
    entries += [
        Entry(photo.taken_at.astimezone(zone).date(), "", "Photo of a visit", "", photos=(photo,))
        for photo in Photo.objects.filter(visit__site=site, finding__isnull=True).order_by("-taken_at")[:most]
    ]
    entries.sort(key=lambda entry: entry.day, reverse=True)
    total = changes.count() + flags.count() + findings.count()
    return SiteHistory(tuple(entries[:most]), total)


def _change_entries(changes: list[Change], zone: ZoneInfo) -> list[Entry]:
    """Changes of the book; things of one kind that came on one day by one hand share a line."""
    added: dict[tuple[date, str, str], list[Change]] = {}
    entries = []
    for change in changes:
        day = change.at.astimezone(zone).date()
        if change.action == Change.Action.ADDED:
            added.setdefault((day, change.kind, change.by), []).append(change)
        else:
            words, told = _change_words(change), (*_mended(change), *_told(change))
            entries.append(Entry(day, "", words, change.by, _putting_back([change]), told))
    for (day, kind, by), group in added.items():
        words = (
            _change_words(group[0]) if len(group) == 1 else f"{len(group)} × {kind.replace('_', ' ')} added"
        )
        back = _putting_back([one for one in group if not one.reason.startswith(Change.IMPORTED)])
        mended = tuple(line for one in group for line in _mended(one))
        entries.append(Entry(day, "", words, by, back, mended))
    return entries


def _mended(change: Change) -> Iterator[tuple[str, str, str]]:
    """Repairs that an import made of a thing: which thing, and what was done."""
    _, mark, repairs = change.reason.partition("; mended: ")
    if mark and change.reason.startswith(Change.IMPORTED):
        yield f"{_thing(change)} mended", "as drawn", repairs


def _putting_back(changes: list[Change]) -> str:
    """Numbers of the changes that can be put back together."""
    return ",".join(str(one.pk) for one in changes if can_restore(one))


def _told(change: Change) -> Iterator[tuple[str, str, str]]:
    """Field, before and after of a change, in words."""
    before, after = change.before or {}, change.after or {}
    for name in sorted({*before, *after} - {"lines", "lines_before", "lines_after", "wire_moves"}):
        if name == "geometry":
            yield "shape", "as it was", "redrawn" if name in after else "none"
        else:
            yield name.replace("_", " "), _shown(name, before.get(name)), _shown(name, after.get(name))


def change_told(change: Change) -> dict[str, object]:
    """A change for somebody who meets it while saving: who, when, what, and the values.

    Parameters
    ----------
    change
        The change.
    """
    at = change.at.astimezone(company_zone())
    return {
        "by": change.by,
        "at": f"{at.day} {at:%b}, {at.hour}:{at:%M}",
        "id": f"{change.kind.replace('_', '')}-{change.thing_id}" if change.thing_id else "",
        "kind": change.kind,
        "action": change.action,
        "words": _change_words(change),
        "fields": [[name, was, now] for name, was, now in _told(change)],
    }


def _flag_entries(flag: Flag) -> Iterator[Entry]:
    """A flag's raising, and its closing."""
    where = f"controller {flag.controller.code}"
    cause = flag.get_cause_display()
    yield Entry(flag.raised_on, "act", f"Flag raised: {cause}, {where}", "sensor watch")
    if flag.closed_on is not None:
        yield Entry(flag.closed_on, "ok", f"Flag closed: {cause}, {where}", flag.get_closed_by_display())


def _key(change: Change) -> str:
    """The key for a reader: of wires, structures and sprinklers, whose key is a fingerprint, the site."""
    return "/".join(part for part in change.key.split("/") if not _FINGERPRINT.fullmatch(part))


def _thing(change: Change) -> str:
    """Kind and key of what changed."""
    return f"{change.kind.replace('_', ' ')} {_key(change)}"


def _change_words(change: Change) -> str:
    """A change in a few words: what, from, to."""
    thing = _thing(change)
    if change.kind == "station_exchange":
        pair = change.after or {}
        back = ", taken back" if "undone" in pair else ""
        return f"stations {pair.get('first')} and {pair.get('second')} of {_key(change)} exchanged{back}"
    if change.action != Change.Action.CHANGED:
        return f"{thing} {change.action}"
    before, after = change.before or {}, change.after or {}
    fields = [
        f"{name.replace('_', ' ')} {_shown(name, before.get(name))} → {_shown(name, after.get(name))}"
        for name in sorted({*before, *after} - {"geometry"})
    ]
    fields += ["shape redrawn"] if "geometry" in after else []
    more = f" and {len(fields) - 2} more" if len(fields) > 2 else ""
    return f"{thing}: {', '.join(fields[:2])}{more}"


def _shown(name: str, value: object) -> str:
    """A value in a change; of a gate code only whether there is one, since old ones open gates, too."""
    return _value("hidden" if name in HIDDEN and value not in (None, "") else value)


def _value(value: object) -> str:
    """A value in a change, cut to a readable length."""
    text = "none" if value in (None, "") else str(value)
    return text if len(text) <= 40 else f"{text[:39]}…"


def _finding_words(finding: Finding) -> str:
    """A finding in a few words."""
    words = [finding.kind.replace("_", " "), finding.get_verdict_display()]
    if finding.cause:
        words.append(finding.cause.replace("_", " "))
    text = f"Finding: {', '.join(words)}"
    if finding.resistance_kohm is not None:
        text = f"{text}. Sensor {reading_words(finding.resistance_kohm, finding.soil_temperature_c)}"
    return f"{text}. {_value(finding.note)}" if finding.note else text
