"""Django's admin, for the administrator: technicians and prices. Accounts have a page of their own."""

from __future__ import annotations

from django.contrib import admin

from fleet.models import ServiceContract, Tariff, Technician

admin.site.register([Technician, Tariff, ServiceContract])
