"""The WSGI application."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
application = get_wsgi_application()
# All pages with what they import are loaded before the first request comes, not by it: that took seconds.
len(get_resolver().url_patterns)
