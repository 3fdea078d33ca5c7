"""States and flags of the sensor watch as rows."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Final

from fleet.models import Flag, WatchState

COLUMNS: Final = (
    "as_of",
    "site",
    "controller",
    "status",
    "cause",
    "probability",
    "cause_probability",
    "since",
    "raised_on",
    "observed_rate",
    "expected_rate",
    "starts",
    "litres_at_stake_per_week",
    "evidence",
)


def rows(*, as_of: date | None = None, private: bool = False) -> Iterator[dict[str, object]]:
    """The newest state of every watched controller, by site and controller.

    Parameters
    ----------
    as_of
        Only states of this day; None: the newest of each controller.
    private
        Not looked at: a state names no contact and no code.
    """
    del private
    raised = dict(Flag.objects.filter(closed_on__isnull=True).values_list("controller_id", "raised_on"))
    states = WatchState.objects.select_related("controller__site").defer("trace")
    if as_of is not None:
        states = states.filter(as_of=as_of)
    ordered = states.order_by("controller__site__code", "controller__code")
    for state in ordered.iterator(chunk_size=2_000):
        yield _row(state, raised.get(state.controller_id))


def features(*, as_of: date | None = None, private: bool = False) -> Iterator[dict[str, object]]:
    """States as GeoJSON points; parameters as in `rows`."""
    places = {
        (site, controller): (longitude, latitude)
        for site, controller, longitude, latitude in WatchState.objects.values_list(
            "controller__site__code",
            "controller__code",
            "controller__site__longitude",
            "controller__site__latitude",
        )
    }
    for row in rows(as_of=as_of, private=private):
        longitude, latitude = places[str(row["site"]), str(row["controller"])]
        if longitude is not None and latitude is not None:
            yield {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
                "properties": {**row, "kind": "flag"},
            }


def _row(state: WatchState, raised_on: date | None) -> dict[str, object]:
    """One controller."""
    return {
        "as_of": state.as_of.isoformat(),
        "site": state.controller.site.code,
        "controller": state.controller.code,
        "status": state.status,
        "cause": state.cause,
        "probability": _or_empty(state.probability),
        "cause_probability": _or_empty(state.cause_probability),
        "since": state.since.isoformat() if state.since else "",
        "raised_on": raised_on.isoformat() if raised_on else "",
        "observed_rate": _or_empty(state.observed_rate),
        "expected_rate": _or_empty(state.expected_rate),
        "starts": _or_empty(state.starts),
        "litres_at_stake_per_week": _or_empty(state.litres_at_stake_per_week),
        "evidence": state.evidence,
    }


def _or_empty(value: float | None) -> object:
    """A number, or an empty cell."""
    return "" if value is None else value
