"""The sources that an installation uses, in the order in which they may tell a day."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from weather.sources import nasa_power, ncei, nws, open_meteo
from weather.sources.client import Client, Patience
from weather.sources.kept_answers import KeptAnswers, KeptInFolder, KeptNowhere
from weather.sources.nasa_power import NasaPower
from weather.sources.ncei import DailySummaries
from weather.sources.nws import NationalWeatherService
from weather.sources.open_meteo import OpenMeteo
from weather.sources.protocol import DailySource

# Common practice, no source: no service is asked more than four times a second.
PATIENCE: Final = Patience(gap_s=0.25)


@dataclass(frozen=True, slots=True)
class Known:
    """One service: what its licence asks to be shown, and its adapter."""

    notice: str
    build: Callable[[Client, str, str], DailySource]
    needs_key: bool = False


# By name, as settings and stored days call them. Another service is one more line here.
KNOWN: Final[dict[str, Known]] = {
    "nasa_power": Known(
        nasa_power.NOTICE,
        lambda client, url, _: NasaPower(client, url),
    ),
    "nws": Known(
        nws.NOTICE,
        lambda client, url, _: NationalWeatherService(client, url),
    ),
    "ncei": Known(
        ncei.NOTICE,
        lambda client, url, _: DailySummaries(client, url),
    ),
    "open_meteo": Known(
        open_meteo.NOTICE,
        OpenMeteo,
        needs_key=True,
    ),
}


class UnknownSource(ValueError):
    """A source of this name does not exist, or is switched off."""


def build_sources(
    *,
    names: Sequence[str],
    urls: Mapping[str, str],
    contact: str,
    open_meteo_key: str = "",
    kept_in: Path | None = None,
) -> tuple[DailySource, ...]:
    """Return the adapters of some sources, in the order given.

    Parameters
    ----------
    names
        Names as in `KNOWN`.
    urls
        Address of each service; an empty one switches it off.
    contact
        Address at which the services may reach the operator.
    open_meteo_key
        Key of a paid plan; without it the service is switched off.
    kept_in
        Folder of answers that the services may call unchanged; None: each is sent whole.
    """
    kept: KeptAnswers = KeptNowhere() if kept_in is None else KeptInFolder(kept_in)
    client = Client(contact, PATIENCE, kept=kept)
    sources = []
    for name in names:
        known = KNOWN.get(name)
        if known is None:
            raise UnknownSource(f"{name!r} is none of {', '.join(KNOWN)}")
        if known.needs_key and not open_meteo_key:
            raise UnknownSource(
                f"{name} is switched off: its free tier is not for commercial use; set the key of a paid plan"
            )
        if not urls.get(name):
            raise UnknownSource(f"{name} is switched off: no address is set for it")
        sources.append(known.build(client, urls[name], open_meteo_key))
    return tuple(sources)
