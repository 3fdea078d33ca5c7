"""Photos: where their bytes lie, and which of them a person may see."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Final

from django.db.models import QuerySet

from fleet.models import Photo, User
from fleet.selectors.site.access import sites_for

FOLDER: Final = ("media", "photos")


def photo_folder(*, data_dir: Path) -> Path:
    """The folder of the photos; nothing in it is served but through a page that asks who it is."""
    return data_dir.joinpath(*FOLDER)


def photo_path(*, folder: Path, sha256: str) -> Path:
    """Where a photo lies, by the hash of its bytes."""
    return folder / sha256[:2] / f"{sha256}.jpg"


def photos_for(*, user: User, today: date) -> QuerySet[Photo]:
    """Photos that a person may see: those of the gardens that the person may open."""
    return Photo.objects.filter(visit__site__in=sites_for(user=user, today=today))


def photos_of_findings(*, finding_ids: Iterable[int]) -> dict[int, list[Photo]]:
    """Photos by finding."""
    found: dict[int, list[Photo]] = {}
    for photo in Photo.objects.filter(finding_id__in=list(finding_ids)):
        found.setdefault(photo.finding_id or 0, []).append(photo)
    return found
