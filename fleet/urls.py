"""Addresses of the company's pages."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.views import home, map_data, search, words

app_name = "fleet"
urlpatterns: list[URLPattern] = [
    path("", home.home, name="home"),
    path("words/", words.words, name="words"),
    path("search/", search.search, name="search"),
    path("map/ground.json", map_data.ground, name="map-ground"),
    path("map/sites.json", map_data.sites, name="map-sites"),
    path("map/zones.json", map_data.zones, name="map-zones"),
]
