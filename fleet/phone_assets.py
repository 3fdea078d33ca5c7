"""What the phone keeps of the program itself, to run without network; and the version of all of it."""

from __future__ import annotations

from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Final

from django.conf import settings
from django.contrib.staticfiles import finders
from django.templatetags.static import static

SHEETS: Final = (
    "fonts", "tokens", "base", "type", "frame", "parts", "tables", "map", "phone", "plots", "narrow", "print",
    "forced", "pages/sheet", "pages/stop-map", "pages/survey", "pages/signin",
)  # fmt: skip
SCRIPTS: Final = (
    "theme", "frame", "sheet", "survey", "phone/store", "phone/send", "phone/keep", "phone/bar",
    "phone/photos", "phone/parts", "phone/late", "phone/audit", "cans", "phone/stop", "phone/day",
    "phone/waiting", "phone/reading", "phone/signin",
)  # fmt: skip
FONTS: Final = (
    "source-sans-3-latin-wght-normal",
    "source-serif-4-latin-wght-normal",
    "source-code-pro-latin-wght-normal",
)
FILES: Final = (
    *(f"fleet/css/{name}.css" for name in SHEETS),
    *(f"fleet/js/{name}.js" for name in SCRIPTS),
    *(f"fleet/fonts/{name}.woff2" for name in FONTS),
    "fleet/mark.svg",
    "fleet/mark-192.png",
)
WORKER: Final = "phone/worker.js"


def asset_urls() -> list[str]:
    """Addresses of all files that the phone keeps."""
    return [static(name) for name in FILES]


@lru_cache(maxsize=1)
def build_version() -> str:
    """A word that changes with any of the files, so that a phone notices a new version of the program."""
    total = sha256()
    for name in (*FILES, WORKER):
        found = settings.BASE_DIR / "templates" / name if name == WORKER else finders.find(name)
        total.update(name.encode())
        total.update(Path(found).read_bytes() if isinstance(found, (str, Path)) else b"")
    return total.hexdigest()[:16]
