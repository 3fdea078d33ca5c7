"""The ground, as a Django app."""

from __future__ import annotations

from django.apps import AppConfig


class SitesConfig(AppConfig):
    """The ground."""

    name = "sites"
    default_auto_field = "django.db.models.BigAutoField"
