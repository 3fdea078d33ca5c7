"""Locations and their daily weather: what was measured or forecast, and what was made of it."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q


class Location(models.Model):
    """A named point with weather. Grid points are made by `pull_weather`, others come from imports."""

    name = models.CharField(max_length=80, unique=True)
    latitude = models.FloatField()
    longitude = models.FloatField()
    elevation_m = models.FloatField()
    is_grid = models.BooleanField(default=False)
    # Everything computed from this day on is out of date; null: nothing is.
    stale_from = models.DateField(null=True, blank=True)
    # Every day from this one on is to be filled anew, since a rule changed; null: none is.
    refill_from = models.DateField(null=True, blank=True)
    # Newest observed day, kept by `record_daily_weather`: every page's frame shows it.
    newest_day = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(latitude__gte=-90, latitude__lte=90, longitude__gte=-180, longitude__lte=180),
                name="location_on_earth",
            ),
            models.CheckConstraint(
                condition=Q(elevation_m__gte=-500, elevation_m__lte=9000), name="location_elevation_plausible"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class DailyWeather(models.Model):
    """One location's day. Raw values stay as they came (null: missing); what was filled is told beside."""

    class Kind(models.TextChoices):
        OBSERVED = "observed"
        FORECAST = "forecast"

    location = models.ForeignKey(Location, on_delete=models.CASCADE, related_name="days")
    day = models.DateField()
    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.OBSERVED)
    # Day of issue of a forecast; an observed day carries its own day here, so that the key has no null.
    issued = models.DateField()

    tmin_c = models.FloatField(null=True, blank=True)
    tmax_c = models.FloatField(null=True, blank=True)
    tdew_c = models.FloatField(null=True, blank=True)
    rh_min_pct = models.FloatField(null=True, blank=True)
    rh_max_pct = models.FloatField(null=True, blank=True)
    wind_m_s = models.FloatField(null=True, blank=True)
    wind_height_m = models.FloatField(default=2.0)
    solar_mj_m2 = models.FloatField(null=True, blank=True)
    rain_mm = models.FloatField(null=True, blank=True)

    source = models.CharField(max_length=80)
    # `rain:ncei` for each group of variables that another source tells, separated by blanks.
    parts = models.CharField(max_length=160, blank=True)
    fetched_at = models.DateTimeField()
    # Codes of weather.calc.quality, separated by blanks; empty: nothing to say.
    flags = models.CharField(max_length=200, blank=True)
    # `variable:method` of weather.calc.filling, separated by blanks; empty: all as measured.
    filled = models.CharField(max_length=300, blank=True)

    eto_mm = models.FloatField(null=True, blank=True)  # used by all later stages, not below 0
    eto_raw_mm = models.FloatField(null=True, blank=True)
    eto_sd_mm = models.FloatField(null=True, blank=True)
    eto_method = models.CharField(max_length=40, blank=True)
    rain_used_mm = models.FloatField(null=True, blank=True)  # measured, or filled from a gauge or grid
    rain_sd_mm = models.FloatField(null=True, blank=True)

    # What the equation took where nobody told the value (null: the told one); wind at 2 m.
    tmin_used_c = models.FloatField(null=True, blank=True)
    tmax_used_c = models.FloatField(null=True, blank=True)
    tdew_used_c = models.FloatField(null=True, blank=True)
    wind_used_m_s = models.FloatField(null=True, blank=True)
    solar_used_mj_m2 = models.FloatField(null=True, blank=True)
    # Standard deviations by weather.calc.spread_rules: of the used value, else of the told one.
    tmin_sd_k = models.FloatField(null=True, blank=True)
    tmax_sd_k = models.FloatField(null=True, blank=True)
    tdew_sd_k = models.FloatField(null=True, blank=True)
    rh_min_sd_pct = models.FloatField(null=True, blank=True)
    rh_max_sd_pct = models.FloatField(null=True, blank=True)
    wind_sd_m_s = models.FloatField(null=True, blank=True)
    solar_sd_mj_m2 = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["location_id", "day"]
        verbose_name_plural = "daily weather"
        constraints = [
            models.UniqueConstraint(
                fields=["location", "day", "kind", "issued"], name="weather_once_a_location_and_day"
            ),
            models.CheckConstraint(
                condition=Q(kind="forecast", issued__lte=F("day")) | Q(kind="observed", issued=F("day")),
                name="weather_forecast_issued_before_its_day",
            ),
            models.CheckConstraint(
                condition=Q(tmin_c__isnull=True) | Q(tmax_c__isnull=True) | Q(tmax_c__gte=F("tmin_c")),
                name="weather_tmax_not_below_tmin",
            ),
            models.CheckConstraint(
                condition=Q(rain_mm__isnull=True) | Q(rain_mm__gte=0), name="weather_rain_not_negative"
            ),
        ]
        indexes = [
            # "newest day of each location", "all locations of a span of days"
            models.Index(fields=["day", "location"], name="weather_by_day"),
        ]

    def __str__(self) -> str:
        return f"{self.location_id} {self.day} {self.kind}"


class SourceDay(models.Model):
    """What one source told of a location's day, kept beside what the others told: orders may change."""

    location = models.ForeignKey(Location, on_delete=models.CASCADE, related_name="told_days")
    source = models.CharField(max_length=40)  # a service, or `files`
    label = models.CharField(max_length=80)  # what is shown: the service, or the file's name
    day = models.DateField()
    kind = models.CharField(max_length=10, choices=DailyWeather.Kind.choices)
    issued = models.DateField()

    tmin_c = models.FloatField(null=True, blank=True)
    tmax_c = models.FloatField(null=True, blank=True)
    tdew_c = models.FloatField(null=True, blank=True)
    rh_min_pct = models.FloatField(null=True, blank=True)
    rh_max_pct = models.FloatField(null=True, blank=True)
    wind_m_s = models.FloatField(null=True, blank=True)
    wind_height_m = models.FloatField(default=2.0)
    solar_mj_m2 = models.FloatField(null=True, blank=True)
    rain_mm = models.FloatField(null=True, blank=True)

    flags = models.CharField(max_length=200, blank=True)
    fetched_at = models.DateTimeField()

    class Meta:
        ordering = ["location_id", "day", "source"]
        constraints = [
            models.UniqueConstraint(
                fields=["location", "day", "kind", "issued", "source"], name="source_day_told_once"
            ),
        ]
        # "newest day that a source told of each location"
        indexes = [models.Index(fields=["source", "location", "day"], name="source_day_newest")]

    def __str__(self) -> str:
        return f"{self.location_id} {self.day} {self.source}"


class SourceOrder(models.Model):
    """Which sources may tell a variable, and in which order: of one location, or (null) of all."""

    location = models.ForeignKey(
        Location, on_delete=models.CASCADE, null=True, blank=True, related_name="source_orders"
    )
    variable = models.CharField(max_length=20)  # weather.calc.source_chain.VARIABLES
    sources = models.CharField(max_length=200)  # names, separated by blanks; one left out is not used

    class Meta:
        ordering = ["location_id", "variable"]
        constraints = [
            models.UniqueConstraint(fields=["location", "variable"], name="source_order_once_a_location"),
            models.UniqueConstraint(
                fields=["variable"], condition=Q(location__isnull=True), name="source_order_once_for_all"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.location_id or 'all'} {self.variable}: {self.sources}"


class ReferenceQuestion(models.Model):
    """Published ET that looks like that of the tall reference: asked once a place, and the answer kept."""

    class Answer(models.TextChoices):
        OPEN = "", "not answered"
        TALL = "tall", "tall (alfalfa) reference"
        SHORT = "short", "grass reference"
        UNKNOWN = "unknown", "not known"

    location = models.OneToOneField(Location, on_delete=models.CASCADE, related_name="reference_question")
    file = models.CharField(max_length=120)
    words = models.CharField(max_length=300)  # months and ratios as the check told them
    asked_at = models.DateTimeField()
    answer = models.CharField(max_length=10, choices=Answer.choices, blank=True)
    answered_by = models.CharField(max_length=150, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["location_id"]

    def __str__(self) -> str:
        return f"{self.location_id} {self.file}"


class SourceMeeting(models.Model):
    """When a public source was last asked and last answered: the weather page tells it."""

    source = models.CharField(max_length=40, unique=True)
    last_asked_at = models.DateTimeField(null=True, blank=True)
    last_answered_at = models.DateTimeField(null=True, blank=True)  # null: never met the live service
    last_error = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["source"]

    def __str__(self) -> str:
        return self.source
