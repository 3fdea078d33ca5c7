"""`pull_weather`: daily weather of every location from the public services and the drop folder."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandParser
from django.utils import timezone

from fleet.selectors.company.company import company_day
from sites.services.site_weather import pull_site_weather
from weather.commands import RootroundCommand
from weather.sources.registry import KNOWN, UnknownSource, build_sources

_MOST_DAYS = 3_660


class Command(RootroundCommand):
    help = "Pull and store daily weather for every location: measured days, and the coming week."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--days", type=int, default=14, help="days back (default 14)")
        parser.add_argument("--source", choices=KNOWN, help="only this source (default: the ones set)")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        if not 1 <= options["days"] <= _MOST_DAYS:
            self.unusable(f"--days {options['days']}: expected 1 to {_MOST_DAYS}")
        names = [options["source"]] if options["source"] else settings.WEATHER_SOURCES
        try:
            sources = build_sources(
                names=names,
                urls=settings.SOURCE_URLS,
                contact=settings.SOURCE_CONTACT,
                open_meteo_key=settings.OPEN_METEO_KEY,
                kept_in=settings.WEATHER_ANSWERS_DIR,
            )
        except UnknownSource as error:
            self.unusable(str(error))
        now = timezone.now()
        result = pull_site_weather(
            sources=sources,
            folder=Path(settings.WEATHER_DROP_DIR),
            today=company_day(now=now),
            now=now,
            days=options["days"],
        )
        self.finish(result.summary(), problems=result.problems, failed=bool(result.pulled.missing))
