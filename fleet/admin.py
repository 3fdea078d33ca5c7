"""Django's admin, for the administrator: accounts, people, prices."""

from __future__ import annotations

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin

from fleet.models import ServiceContract, Tariff, Technician, User


class AccountAdmin(UserAdmin):  # type: ignore[type-arg]
    """Accounts with their role."""

    list_display = ("username", "first_name", "last_name", "role", "is_active")
    fieldsets = (*(UserAdmin.fieldsets or ()), ("Rootround", {"fields": ("role", "units", "clock_24h")}))


admin.site.register(User, AccountAdmin)
admin.site.register([Technician, Tariff, ServiceContract])
