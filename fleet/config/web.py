"""The web server of a company: `gunicorn --config fleet/config/web.py` in the program's folder.

`--bind` and `--workers` on the command line come before what stands here.
"""

from __future__ import annotations

from pathlib import Path

wsgi_app = "fleet.config.wsgi:application"
# Only this machine: a web server that ends TLS stands in front.
bind = "127.0.0.1:8000"
# Processes, each with a pool of threads, since pages wait for the database as long as they compute.
workers = 2
worker_class = "gthread"
threads = 4
# Loaded once and shared by all processes.
preload_app = True
# The longest answers are exports and files of 200 MB over a slow line [s].
timeout = 180
graceful_timeout = 30
# An idle connection is kept longer than a web server in front keeps it (60 s): where we closed it first, a
# request that is just on its way would be lost.
keepalive = 75
# A process that has answered so many is replaced by a fresh one, not all at the same time.
max_requests = 5_000
max_requests_jitter = 500
limit_request_line = 8_190
# Heartbeats of the processes in memory, not on a disk that may stand still.
worker_tmp_dir = "/dev/shm" if Path("/dev/shm").is_dir() else None  # noqa: S108 (gunicorn's own names, private)
