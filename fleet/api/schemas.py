"""What devices send: the columns of the CSV files as JSON, bounded and without anything else."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from fleet.services.company.device_tokens import MOST_ENTRIES

MOST_STARTS: Final = 10_000

PLAIN: Final = r"^[^\x00]*$"  # no zero character, which some databases refuse

Code = Annotated[str, Field(min_length=1, max_length=40, pattern=PLAIN, description="Code in the site book.")]
Day = Annotated[
    str,
    Field(min_length=10, max_length=10, pattern=r"^\d{4}-\d{2}-\d{2}$", description="A day as 2026-06-14."),
]
Count = Annotated[int, Field(ge=0, le=MOST_STARTS)]
Unit = Literal["l", "m3", "gal", "kgal", "ccf"]
MeterKind = Literal["irrigation", "whole_house"]


class _Strict(BaseModel):
    """No unknown names, no text for a number, no true for one."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class BypassLogIn(_Strict):
    """Starts of one controller on one day (`date`) or in one period (`start` up to, without, `end`)."""

    site: Code
    controller: Code
    date: Day | None = None
    start: Day | None = None
    end: Day | None = None
    starts_bypassed: Count
    starts_scheduled: Count | None = None
    starts_cut_short: Count | None = None
    starts_skipped: Count | None = None
    method: Literal["logger", "counter_read", "customer_card", "from_meter"] | None = None
    note: Annotated[str, Field(max_length=300, pattern=PLAIN)] | None = None


class MeterReadingIn(_Strict):
    """A register at a moment; without an offset the moment is site-local."""

    site: Code
    meter_id: Code
    read_at: Annotated[
        str, Field(min_length=16, max_length=40, pattern=PLAIN, description="As 2026-06-14T09:30-06:00.")
    ]
    reading: Annotated[float, Field(ge=0, le=1e12)]
    unit: Unit
    digits: Annotated[int, Field(ge=1, le=12)] | None = None
    read_kind: Literal["actual", "estimated"] | None = None
    event: Literal["swap", "reset"] | None = None
    meter: MeterKind | None = None


class MeterVolumeIn(_Strict):
    """Water of one meter from `start` up to, without, `end`."""

    site: Code
    start: Day
    end: Day
    volume: Annotated[float, Field(ge=0, le=1e9)]
    unit: Unit
    meter: MeterKind | None = None
    read_kind: Literal["actual", "estimated"] | None = None


class BypassBatch(_Strict):
    """Bypass logs, all or none taken."""

    entries: Annotated[list[BypassLogIn], Field(min_length=1, max_length=MOST_ENTRIES)]


class ReadingBatch(_Strict):
    """Meter readings, all or none taken."""

    entries: Annotated[list[MeterReadingIn], Field(min_length=1, max_length=MOST_ENTRIES)]


class VolumeBatch(_Strict):
    """Meter volumes, all or none taken."""

    entries: Annotated[list[MeterVolumeIn], Field(min_length=1, max_length=MOST_ENTRIES)]


class Receipt(BaseModel):
    """What became of the entries. The same call again adds and changes nothing."""

    added: int
    changed: int
    unchanged: int
