"""The settings of needs and routes as their page shows them, with their history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from fleet.calc.plan.travel_hours import rush_text
from fleet.calc.visits.service_times import LearnedTime
from fleet.calc.visits.setting_facts import FACT_OF, FACTS, SettingFact
from fleet.calc.visits.settings import RUSH_HOURS, VisitSettings, travel_hours, visit_settings
from fleet.selectors.company.company import the_company
from fleet.selectors.visits.service_times import service_times
from sites.models import Change

RECENT: Final = 20
RUSH_WORDS: Final = "Hours with longer driving"
# What the page shows the meaning of a factor by [min], and a usual shift for its mean [s of the day].
EXAMPLE_MIN: Final = 20
SHIFT_S: Final = (8 * 3600, 17 * 3600)


@dataclass(frozen=True, slots=True)
class ShownSetting:
    """One setting: `value` in force, `default`, and `typed`, what stands in its field."""

    fact: SettingFact
    unit: str
    value: float
    default: float
    typed: str
    error: str
    learned: LearnedTime | None = None  # of minutes of a kind

    @property
    def is_own(self) -> bool:
        """Whether the company has set it."""
        return self.value != self.default


@dataclass(frozen=True, slots=True)
class SettingGroup:
    """Settings that belong together."""

    words: str
    rows: tuple[ShownSetting, ...]


@dataclass(frozen=True, slots=True)
class SettingEntry:
    """One change of the past, in words."""

    change: Change
    lines: tuple[tuple[str, object, object], ...]


def settings_in_force() -> VisitSettings:
    """The company's settings."""
    company = the_company()
    return visit_settings(company.settings if company else {})


def setting_groups(
    *, day: date, typed: Mapping[str, str] | None = None, errors: Mapping[str, str] | None = None
) -> tuple[SettingGroup, ...]:
    """Every setting by group, with what was typed, what is wrong with it, and what findings have taught."""
    used, default = settings_in_force(), VisitSettings()
    learned = service_times(day=day, settings=used)
    company = the_company()
    currency = company.currency if company else "money"
    groups: dict[str, list[ShownSetting]] = {}
    for fact in FACTS:
        value = float(getattr(used, fact.name))
        groups.setdefault(fact.group, []).append(
            ShownSetting(
                fact,
                fact.unit.replace("money", currency),
                value,
                float(getattr(default, fact.name)),
                plain(value) if typed is None else typed.get(fact.name, plain(value)),
                (errors or {}).get(fact.name, ""),
                learned.get(fact.name.removeprefix("min_")),
            )
        )
    return tuple(SettingGroup(words, tuple(rows)) for words, rows in groups.items())


@dataclass(frozen=True, slots=True)
class RushHours:
    """Hours at which driving takes longer: the lines as typed, and what each of them means."""

    text: str
    meaning: tuple[str, ...]
    mean: float | None = None  # over a usual shift


def rush_hours(*, typed: str | None = None) -> RushHours:
    """The hours in force, in words; with what was typed in their place where it was refused."""
    settings = settings_in_force()
    hours = travel_hours(settings, points_per_money=1)
    if hours is None:
        return RushHours(typed or "", ())
    meaning = []
    trip_s = EXAMPLE_MIN * 60 + round(settings.settle_s)
    for span in settings.rush_hours:
        took_min = (hours.arrival(span.from_s, trip_s) - span.from_s - settings.settle_s) / 60
        day = "on every day" if span.every_day else "Monday to Friday"
        meaning.append(
            f"{day}, {EXAMPLE_MIN} min of driving begun at {span.from_s // 3600:02d}:"
            f"{span.from_s % 3600 // 60:02d} take {took_min:.0f} min"
        )
    text = rush_text(settings.rush_hours) if typed is None else typed
    return RushHours(text, tuple(meaning), round(hours.mean_factor(SHIFT_S[0], SHIFT_S[1]), 3))


def setting_history() -> tuple[SettingEntry, ...]:
    """The newest changes."""
    default = VisitSettings()
    entries = []
    for change in Change.objects.filter(kind="visit_settings").order_by("-at", "-pk")[:RECENT]:
        names = [name for name in (change.after or {}) if name in FACT_OF]
        lines: list[tuple[str, object, object]] = []
        if RUSH_HOURS in (change.after or {}):
            was, is_now = (
                ", ".join(str((values or {}).get(RUSH_HOURS, "")).splitlines()) or "none"
                for values in (change.before, change.after)
            )
            lines.append((RUSH_WORDS, was, is_now))
        for name in names:
            was, is_now = (
                _or_default((values or {}).get(name), float(getattr(default, name)))
                for values in (change.before, change.after)
            )
            lines.append((FACT_OF[name].words, was, is_now))
        entries.append(SettingEntry(change, tuple(lines)))
    return tuple(entries)


def _or_default(value: object, default: float) -> str:
    """A number as it was, the default where the company had none of its own."""
    return plain(float(value)) if isinstance(value, int | float) else f"{plain(default)} (default)"


def plain(value: float) -> str:
    """A number without needless zeros."""
    return f"{value:.6f}".rstrip("0").rstrip(".")
