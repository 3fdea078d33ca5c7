"""The sources that an installation uses, in the order in which they may tell a day."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
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
NAMES: Final = ("nasa_power", "nws", "ncei", "open_meteo")
# What the licences of the services ask to be shown, by name.
NOTICES: Final[dict[str, str]] = {
    "nasa_power": nasa_power.NOTICE,
    "nws": nws.NOTICE,
    "ncei": ncei.NOTICE,
    "open_meteo": open_meteo.NOTICE,
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
        Names as in `NAMES`.
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
    makers: dict[str, Callable[[str], DailySource]] = {
        "nasa_power": lambda url: NasaPower(client, url),
        "nws": lambda url: NationalWeatherService(client, url),
        "ncei": lambda url: DailySummaries(client, url),
        "open_meteo": lambda url: OpenMeteo(client, url, open_meteo_key),
    }
    sources = []
    for name in names:
        if name not in makers:
            raise UnknownSource(f"{name!r} is none of {', '.join(NAMES)}")
        if name == "open_meteo" and not open_meteo_key:
            raise UnknownSource(
                "open_meteo is switched off: its free tier is not for commercial use; "
                "set the key of a paid plan"
            )
        if not urls.get(name):
            raise UnknownSource(f"{name} is switched off: no address is set for it")
        sources.append(makers[name](urls[name]))
    return tuple(sources)
