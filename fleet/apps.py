"""The company, as a Django app."""

from __future__ import annotations

from collections.abc import Sequence

from django.apps import AppConfig, apps
from django.conf import settings
from django.contrib.auth.signals import user_logged_in
from django.core.checks import CheckMessage, Error, Tags, register
from django.core.checks import Warning as Doubt


class FleetConfig(AppConfig):
    """The company."""

    name = "fleet"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Register the checks of the installation, and when a session begins."""
        from fleet.session_limits import note_sign_in  # needs the apps to be loaded

        register(refuse_contrib_sites)
        register(what_a_company_keeps_closed, Tags.security, deploy=True)
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


def what_a_company_keeps_closed(
    app_configs: Sequence[AppConfig] | None, **kwargs: object
) -> list[CheckMessage]:
    """Warnings of `check --deploy`: a key beside the data that it protects, a data folder open to others."""
    del app_configs, kwargs
    found: list[CheckMessage] = []
    if not settings.HAS_OWN_SECRET_KEY:
        found.append(
            Doubt(
                "SECRET_KEY does not come from the environment: it lies in the data folder, beside the data.",
                hint="Set SECRET_KEY to what stands in the folder's secret_key, then delete that file.",
                id="fleet.W001",
            )
        )
    if settings.DATA_DIR.stat().st_mode & 0o077:
        found.append(
            Doubt(
                "Other accounts of this machine may read the data folder.",
                hint=f"chmod 700 {settings.DATA_DIR}",
                id="fleet.W002",
            )
        )
    return found
