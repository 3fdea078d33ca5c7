"""Settings, addresses, the Celery application. Loaded first, so that every process has the same broker."""

from __future__ import annotations

from fleet.config.celery import app as celery_app

__all__ = ("celery_app",)
