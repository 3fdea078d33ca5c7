"""Photos of the own work: looked at, made small, stripped of everything but the picture, and kept once."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Final

from django.db import IntegrityError, transaction
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from fleet.calc.on_site.phone_settings import PhoneSettings
from fleet.models import Finding, Photo, Stop, Visit
from fleet.selectors.on_site.photo_files import photo_path

FORMATS: Final = ("JPEG", "PNG", "WEBP")
MOST_PIXELS: Final = 60_000_000
QUALITY: Final = 82
MB: Final = 1_000_000


class BadPhoto(ValueError):
    """The file is no photo that can be kept; the message says why."""


class PhotoNotWhole(ValueError):
    """The bytes that came are not those that were sent: send again."""


@dataclass(frozen=True, slots=True)
class PhotoSent:
    """A photo as it came.

    Parameters
    ----------
    key, finding_key
        Key that the phone made for it, and of the finding that it belongs to; empty for none.
    data
        Its bytes.
    said_sha256
        Hash of the bytes as the phone reckoned it; empty where it did not.
    taken_at
        When it was taken, by our clock.
    step, caption
        Step of a procedure, and words.
    """

    key: str
    data: bytes
    taken_at: datetime
    said_sha256: str = ""
    finding_key: str = ""
    step: str = ""
    caption: str = ""


@dataclass(frozen=True, slots=True)
class PhotoKept:
    """A photo that is kept; `is_new` False: it had come before."""

    photo_id: int
    is_new: bool


@dataclass(frozen=True, slots=True)
class _Picture:
    """What is kept of an image."""

    data: bytes
    width_px: int
    height_px: int
    place: tuple[float, float] | None  # latitude, longitude


@transaction.atomic
def keep_photo(
    *,
    sent: PhotoSent,
    visit_id: int,
    technician_id: int | None,
    settings: PhoneSettings,
    folder: Path,
    now: datetime,
) -> PhotoKept:
    """Keep a photo once by its key; raises `BadPhoto` and `PhotoNotWhole`.

    Parameters
    ----------
    sent
        As it came.
    visit_id, technician_id
        What it belongs to, and who took it.
    settings
        The company's limits.
    folder
        Folder of the photos.
    now
        When it came.
    """
    known = Photo.objects.filter(client_key=sent.key).first()
    if known is not None:
        return PhotoKept(known.pk, is_new=False)
    received = sha256(sent.data).hexdigest()
    if sent.said_sha256 and sent.said_sha256 != received:
        raise PhotoNotWhole("the bytes that came are not those that were sent")
    visit = Visit.objects.filter(pk=visit_id).first()
    if visit is None:
        raise BadPhoto("this visit is not in the book any more")
    picture = _picture(sent.data, settings)
    kept_hash = sha256(picture.data).hexdigest()
    path = photo_path(folder=folder, sha256=kept_hash)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    partial = path.with_suffix(".partial")
    partial.write_bytes(picture.data)
    partial.replace(path)
    latitude, longitude = picture.place or (None, None)
    try:
        with transaction.atomic():
            photo = Photo.objects.create(
                client_key=sent.key,
                visit=visit,
                stop=Stop.objects.filter(visit=visit).first(),
                finding=Finding.objects.filter(client_key=sent.finding_key, visit=visit).first(),
                finding_key=sent.finding_key[:64],
                technician_id=technician_id,
                step=sent.step[:40],
                caption=sent.caption[:200],
                taken_at=sent.taken_at,
                received_at=now,
                received_sha256=received,
                sha256=kept_hash,
                size_bytes=len(picture.data),
                width_px=picture.width_px,
                height_px=picture.height_px,
                latitude=latitude,
                longitude=longitude,
            )
    except IntegrityError:  # it came twice at once
        return PhotoKept(Photo.objects.get(client_key=sent.key).pk, is_new=False)
    return PhotoKept(photo.pk, is_new=True)


def _picture(data: bytes, settings: PhoneSettings) -> _Picture:
    """The picture alone: upright, at most so large, no metadata; its place only where that is kept."""
    if not data:
        raise BadPhoto("the file is empty")
    if len(data) > settings.photo_mb * MB:
        raise BadPhoto(f"the file is larger than {settings.photo_mb:g} MB")
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as image:
            if image.width * image.height > MOST_PIXELS:
                raise BadPhoto(f"the picture has more than {MOST_PIXELS // 1_000_000} million pixels")
            place = _place(image) if settings.photo_positions else None
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except UnidentifiedImageError as error:
        raise BadPhoto("the file is no picture in JPEG, PNG or WebP") from error
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        if isinstance(error, BadPhoto):
            raise
        raise BadPhoto(f"the picture cannot be read ({type(error).__name__})") from error
    side = max(int(settings.photo_px), 64)
    upright.thumbnail((side, side))
    kept = io.BytesIO()
    upright.save(kept, "JPEG", quality=QUALITY, optimize=True)
    return _Picture(kept.getvalue(), upright.width, upright.height, place)


def _place(image: Image.Image) -> tuple[float, float] | None:
    """Latitude and longitude that the camera wrote into the file, None where it did not."""
    gps = image.getexif().get_ifd(ExifTags.IFD.GPSInfo)
    try:
        degrees = [
            sum(float(part) / 60**n for n, part in enumerate(gps[tag]))
            for tag in (ExifTags.GPS.GPSLatitude, ExifTags.GPS.GPSLongitude)
        ]
        south, west = gps[ExifTags.GPS.GPSLatitudeRef] == "S", gps[ExifTags.GPS.GPSLongitudeRef] == "W"
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    latitude, longitude = -degrees[0] if south else degrees[0], -degrees[1] if west else degrees[1]
    return (latitude, longitude) if abs(latitude) <= 90 and abs(longitude) <= 180 else None
