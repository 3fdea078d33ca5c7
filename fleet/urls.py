"""Addresses of the company's pages."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.views import (
    day,
    home,
    map_data,
    search,
    sheet,
    site,
    survey,
    watch,
    water,
    week,
    weekly_round,
    what_if,
    words,
    zone_audit,
)

app_name = "fleet"
urlpatterns: list[URLPattern] = [
    path("", home.home, name="home"),
    path("words/", words.words, name="words"),
    path("search/", search.search, name="search"),
    path("week/", week.week, name="week"),
    path("week/plan/", week.plan, name="week-plan"),
    path("week/progress/", week.progress, name="week-progress"),
    path("week/publish/", week.publish, name="week-publish"),
    path("week/undo/", week.undo, name="week-undo"),
    path("week/stops/<int:pk>/", week.move, name="stop-move"),
    path("week/visits/<int:pk>/lock/", week.lock, name="stop-lock"),
    path("day/", day.day, name="day"),
    path("day/stops/<int:pk>/", day.stop, name="stop"),
    path("day/stops/<int:pk>/state/", day.stop_state, name="stop-state"),
    path("day/stops/<int:pk>/finding/", day.stop_finding, name="stop-finding"),
    path("sites/", site.site_list, name="site-list"),
    path("sites/<str:code>/", site.site, name="site"),
    path("sites/<str:code>/shapes.json", site.site_shapes, name="site-shapes"),
    path("sites/<str:code>/zones.csv", site.site_zones_csv, name="site-zones-csv"),
    path("sites/<str:code>/water.csv", site.site_water_csv, name="site-water-csv"),
    path("sites/<str:code>/<str:controller>/sheet/", sheet.sheet, name="sheet"),
    path("sites/<str:code>/survey/", survey.survey, name="survey"),
    path("sites/<str:code>/survey/answer/", survey.survey_answer, name="survey-answer"),
    path("sites/<str:code>/audits/", zone_audit.site_audits, name="site-audits"),
    path(
        "sites/<str:code>/audits/<int:pk>/withdraw/",
        zone_audit.zone_audit_withdraw,
        name="zone-audit-withdraw",
    ),
    path("sites/<str:code>/<str:controller>/<int:station>/audit/", zone_audit.zone_audit, name="zone-audit"),
    path("sites/<str:code>/<str:controller>/what-if/", what_if.what_if, name="what-if"),
    path("watch/", watch.watch_list, name="watch-list"),
    path("watch/<str:code>/<str:controller>/", watch.watch, name="watch"),
    path("round/", weekly_round.weekly_round, name="round"),
    path("round/<int:pk>/decide/", weekly_round.decide, name="round-decide"),
    path("water/", water.water, name="water"),
    path("water/ledger.csv", water.water_csv, name="water-csv"),
    path("water/unjudged/", water.water_unjudged, name="water-unjudged"),
    path("water/sites/<str:code>/", water.water_site, name="water-site"),
    path("map/ground.json", map_data.ground, name="map-ground"),
    path("map/sites.json", map_data.sites, name="map-sites"),
    path("map/zones.json", map_data.zones, name="map-zones"),
]
