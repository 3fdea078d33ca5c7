"""Django's admin, for the administrator: tariffs. What has a page of ours is not here: it has history."""

from __future__ import annotations

from django.contrib import admin

from fleet.models import Tariff

admin.site.register([Tariff])
