"""Addresses of the weather page."""

from __future__ import annotations

from django.urls import URLPattern

app_name = "weather"
urlpatterns: list[URLPattern] = []
