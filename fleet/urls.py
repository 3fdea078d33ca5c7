"""Addresses of the company's pages."""

from __future__ import annotations

from django.urls import URLPattern

app_name = "fleet"
urlpatterns: list[URLPattern] = []
