"""Photos: only pictures, small, without what a camera wrote into them, and for nobody else's eyes."""

from __future__ import annotations

import io
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from fleet.models import Company, Finding, Photo, Stop, User
from fleet.selectors.on_site.phone_facts import owner_of
from fleet.selectors.on_site.photo_files import photo_folder, photo_path
from fleet.selectors.on_site.stop_ticket import ticket_for
from fleet.services.company.backup import write_backup
from tests.browser.phone_hand import picture
from tests.fleet.on_site.test_phone_sending import a_stop, body_of, post

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]


def send(client: Client, stop: Stop, user: User, data: bytes, **other: str) -> Any:
    """Send a photo as the phone does."""
    at = str(timezone.now().timestamp() * 1000)
    form = {
        "key": "photo-0001",
        "owner": owner_of(user=user),
        "ticket": ticket_for(stop=stop, user=user),
        "said_at": at,
        "sent_at": at,
        "sha256": sha256(data).hexdigest(),
        "finding_key": "k" * 12,
        "caption": "box 2",
        "photo": SimpleUploadedFile("../../etc/passwd.jpg", data),
        **other,
    }
    return client.post(reverse("fleet:phone-photo"), form)


def kept_file(settings: Any) -> Path:
    """The file of the only photo."""
    photo = Photo.objects.get()
    return photo_path(folder=photo_folder(data_dir=settings.DATA_DIR), sha256=photo.sha256)


def test_a_photo_comes_once_and_finds_its_finding_that_comes_later(
    company: Company, technician_user: User, sign_in: SignIn, settings: Any
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    data = picture(1)

    first, again = send(client, stop, technician_user, data), send(client, stop, technician_user, data)
    post(client, body_of(stop, technician_user))

    assert (first.json()["photo"], again.status_code) == (again.json()["photo"], 200)
    photo = Photo.objects.get()
    assert photo.finding == Finding.objects.get()
    assert photo.received_sha256 == sha256(data).hexdigest()
    kept = kept_file(settings).read_bytes()
    assert sha256(kept).hexdigest() == photo.sha256
    assert kept_file(settings).is_relative_to(settings.DATA_DIR / "media")


@pytest.mark.parametrize("keeps", [0, 1])
def test_the_place_goes_unless_the_company_keeps_it_and_never_stays_in_the_file(
    company: Company, technician_user: User, sign_in: SignIn, settings: Any, keeps: int
) -> None:
    Company.objects.update(settings={"phone.photo_positions": keeps})
    stop, client = a_stop(technician_user), sign_in(technician_user)

    send(client, stop, technician_user, picture(1, place=True))

    photo = Photo.objects.get()
    place = (photo.latitude, photo.longitude)
    assert place == ((pytest.approx(41.2), pytest.approx(-104.7)) if keeps else (None, None))
    with Image.open(kept_file(settings)) as image:
        assert dict(image.getexif()) == {}


def test_a_large_photo_is_made_small_and_set_upright(
    company: Company, technician_user: User, sign_in: SignIn, settings: Any
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by 90 degrees
    kept = io.BytesIO()
    Image.new("RGB", (4000, 3000), "green").save(kept, "JPEG", exif=exif)

    send(client, stop, technician_user, kept.getvalue())

    with Image.open(kept_file(settings)) as image:
        assert image.size == (1200, 1600)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "at most|empty"),
        (b"GIF89a" + bytes(50), "no picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "no picture"),
        (b"<html><script>alert(1)</script>", "no picture"),
        (picture(1)[:900], "cannot be read"),
    ],
    ids=["empty", "gif", "svg", "html", "half"],
)
def test_what_is_no_picture_is_refused_by_what_it_is_not_by_its_name(
    company: Company, technician_user: User, sign_in: SignIn, data: bytes, words: str
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)

    answer = send(client, stop, technician_user, data)

    assert answer.status_code == 422
    assert any(word in answer.json()["words"][0] for word in words.split("|"))
    assert Photo.objects.count() == 0


def test_bytes_that_did_not_all_arrive_are_asked_for_again(
    company: Company, technician_user: User, sign_in: SignIn
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)

    assert send(client, stop, technician_user, picture(1), sha256="0" * 64).status_code == 503
    assert Photo.objects.count() == 0


def test_a_photo_with_many_pixels_in_few_bytes_is_not_unpacked(
    company: Company, technician_user: User, sign_in: SignIn
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    bomb = io.BytesIO()
    Image.new("1", (30_000, 30_000)).save(bomb, "PNG")

    assert send(client, stop, technician_user, bomb.getvalue()).status_code == 422


def test_a_photo_is_for_those_who_may_open_its_garden(
    company: Company, technician_user: User, stranger: User, dispatcher: User, sign_in: SignIn
) -> None:
    stop = a_stop(technician_user)
    a_stop(stranger, "QT-02")
    send(sign_in(technician_user), stop, technician_user, picture(1))
    address = reverse("fleet:photo", args=[Photo.objects.get().pk])

    seen = sign_in(technician_user).get(address)
    assert (seen.status_code, seen["Content-Type"], seen["Cache-Control"]) == (
        200,
        "image/jpeg",
        "private, max-age=0, no-store",
    )
    assert sign_in(dispatcher).get(address).status_code == 200
    assert sign_in(stranger).get(address).status_code == 404
    assert Client().get(address).status_code == 302
    page = sign_in(dispatcher).get(reverse("fleet:site", args=["CB-14"])).content.decode()
    assert address in page


def test_photos_go_along_with_a_backup(
    company: Company, technician_user: User, sign_in: SignIn, settings: Any, tmp_path: Path
) -> None:
    send(sign_in(technician_user), a_stop(technician_user), technician_user, picture(1))

    report = write_backup(path=tmp_path / "state.zip", data_dir=settings.DATA_DIR)

    assert report.files == 1


def test_the_form_takes_photos_without_script(
    company: Company, technician_user: User, sign_in: SignIn
) -> None:
    stop, client = a_stop(technician_user), sign_in(technician_user)
    need = stop.visit.needs.get().pk if stop.visit else 0
    files = [SimpleUploadedFile(f"{n}.jpg", picture(n)) for n in range(2)]

    client.post(
        reverse("fleet:stop-finding", args=[stop.pk]),
        {"client_key": "by-form-1", "need": need, "note": "x", "photos": files},
    )

    assert Photo.objects.filter(finding__client_key="by-form-1").count() == 2
