"""A stage switched on a date: the stages of a rule set before and after, in the words of its file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

# Stages of the kinds that suppliers publish for dry spells; common practice, no source. To be adapted.
COMMON_STAGES: Final[tuple[dict[str, object], ...]] = (
    {
        "name": "three days a week, by night",
        "weekdays": {"even": ["mon", "wed", "fri"], "odd": ["tue", "thu", "sat"]},
        "windows": ["20:00-08:00"],
    },
    {
        "name": "two days a week, by night",
        "weekdays": {"odd": ["wed", "sat"], "even": ["thu", "sun"]},
        "windows": ["20:00-08:00"],
        "max_days_per_week": 2,
    },
    {
        "name": "one day a week by last digit",
        "address_rule": "last_digit",
        "weekdays": {"01": ["mon"], "23": ["tue"], "45": ["wed"], "67": ["thu"], "89": ["fri"]},
        "windows": ["00:00-06:00"],
        "max_days_per_week": 1,
    },
    {
        "name": "no sprays and rotors, drip by night",
        "max_days_per_week": 0,
        "applies_to": {"heads": ["fixed_spray", "rotor", "rotary_nozzle"]},
    },
    {"name": "no watering", "max_days_per_week": 0},
)


def switched_stages(
    specs: Sequence[Mapping[str, object]],
    stage: Mapping[str, object],
    *,
    on: date,
    until: date | None,
    on_top: bool,
) -> list[dict[str, object]]:
    """Stages of a rule set with one more in force from a day on.

    Those in force on the first day end there and come back after the last day, unless the new one comes on
    top. Those that begin later begin as they would; where the new one's end is known, not before it.

    Parameters
    ----------
    specs
        Stages as they stand, in the words of the rules file.
    stage
        The stage to switch on; its own dates do not matter.
    on, until
        First day, and the day after the last; None: no end known.
    on_top
        Whether the stages in force stay in force beside it.
    """
    kept: list[dict[str, object]] = []
    for spec in specs:
        kept += [dict(spec)] if on_top else _around(spec, on, until)
    names = {str(spec.get("name")) for spec in kept}
    new = {name: value for name, value in stage.items() if name not in ("from", "until")}
    new["name"] = _free(str(stage.get("name", "stage")), on, names)
    new["from"] = on.isoformat()
    if until is not None:
        new["until"] = until.isoformat()
    return [*kept, new]


def _around(spec: Mapping[str, object], on: date, until: date | None) -> list[dict[str, object]]:
    """What is left of a stage before the new one's first day and after its last."""
    first, end = _day(spec.get("from")), _day(spec.get("until"))
    begins_later = first is not None and (first > on if until is None else first >= until)
    if (end is not None and end <= on) or begins_later:
        return [dict(spec)]
    parts = []
    if first is None or first < on:
        parts.append({**spec, "until": on.isoformat()})
    if until is not None and (end is None or end > until):
        back: dict[str, object] = {**spec, "from": until.isoformat()}
        if parts:
            back["name"] = f"{str(spec.get('name'))[:60]}, from {until.isoformat()}"
        parts.append(back)
    return parts


def _free(name: str, on: date, taken: set[str]) -> str:
    """A name that no other stage of the set has."""
    for choice in (name[:80], f"{name[:60]}, from {on.isoformat()}"):
        if choice not in taken:
            return choice
    return next(
        choice
        for number in range(2, len(taken) + 3)
        if (choice := f"{name[:50]}, from {on.isoformat()} ({number})") not in taken
    )


def _day(value: object) -> date | None:
    """A day of the file, None where it has none."""
    return date.fromisoformat(str(value)) if value else None
