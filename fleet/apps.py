"""The company, as a Django app."""

from __future__ import annotations

from collections.abc import Sequence

from django.apps import AppConfig, apps
from django.contrib.auth.signals import user_logged_in
from django.core.checks import CheckMessage, Error, register


class FleetConfig(AppConfig):
    """The company."""

    name = "fleet"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Register the checks of the installation, and when a session begins."""
        from fleet.session_limits import note_sign_in  # needs the apps to be loaded

        register(refuse_contrib_sites)
        user_logged_in.connect(note_sign_in, dispatch_uid="note_sign_in")


def refuse_contrib_sites(app_configs: Sequence[AppConfig] | None, **kwargs: object) -> list[CheckMessage]:
    """An error where `django.contrib.sites` is installed: its label belongs to our site book."""
    del app_configs, kwargs
    if not any(config.name == "django.contrib.sites" for config in apps.get_app_configs()):
        return []
    return [
        Error(
            "django.contrib.sites is installed; the label `sites` belongs to the site book.",
            hint="Take django.contrib.sites out of INSTALLED_APPS.",
            id="fleet.E001",
        )
    ]
