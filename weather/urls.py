"""Addresses of the weather page."""

from __future__ import annotations

from django.urls import path

from weather import views

app_name = "weather"
urlpatterns = [
    path("", views.page, name="page"),
    path("locations/<int:pk>.csv", views.location_csv, name="location-csv"),
]
