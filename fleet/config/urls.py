"""All addresses."""

from __future__ import annotations

from django.contrib import admin
from django.contrib.auth import views as auth_views
from django.urls import include, path

urlpatterns = [
    path("sign-in/", auth_views.LoginView.as_view(), name="login"),
    path("sign-out/", auth_views.LogoutView.as_view(), name="logout"),
    path("weather/", include("weather.urls")),
    path("admin/", admin.site.urls),
    path("api/", include("fleet.api.door")),
    path("", include("fleet.urls")),
]
