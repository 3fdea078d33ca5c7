"""The sky, as a Django app."""

from __future__ import annotations

from django.apps import AppConfig


class WeatherConfig(AppConfig):
    """The sky."""

    name = "weather"
    default_auto_field = "django.db.models.BigAutoField"
