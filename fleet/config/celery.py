"""The Celery application and its schedule."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
app = Celery("rootround")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["fleet"])
app.conf.beat_schedule = {
    # Every five minutes: start what is due (the night's stages, in the company's own time zone), and
    # run again what is missing or has lost its heartbeat.
    "tell_alive": {"task": "fleet.tasks.tell_alive", "schedule": 60.0, "options": {"expires": 60.0}},
    "start_what_is_due": {"task": "fleet.tasks.start_what_is_due", "schedule": 300.0},
}
