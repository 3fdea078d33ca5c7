"""Django's admin, for the administrator: tariffs. What has a page of ours, with history and undo, is not here."""

from __future__ import annotations

from django.contrib import admin

from fleet.models import Tariff

admin.site.register([Tariff])
