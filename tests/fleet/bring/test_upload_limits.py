"""What is refused at the door: too large, of no known form, or a zip that hides something."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from wsgiref.util import is_hop_by_hop

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from fleet.models import Company, User
from fleet.services.bring import upload_checks
from fleet.upload_door import MOST_BODY_BYTES, NOBODYS_BYTES, OTHERS_BYTES

SignIn = Callable[[User], Client]
FORM = "multipart/form-data; boundary=b"


class Unread(io.BytesIO):
    """A body that may not be read."""

    def read(self, size: int | None = -1) -> bytes:  # noqa: ARG002
        raise AssertionError("the body was read")


def post_unread(client: Client, address: str, length: str) -> int:
    """Status of a body that declares a length; reading any of it fails the test."""
    asked: dict[str, object] = {"wsgi.input": Unread(b"x" * 100), "CONTENT_LENGTH": length}
    answer = client.request(REQUEST_METHOD="POST", PATH_INFO=address, CONTENT_TYPE=FORM, **asked)
    return answer.status_code


@pytest.mark.parametrize(
    ("address", "most"), [("/bring/", MOST_BODY_BYTES), ("/account/", OTHERS_BYTES)], ids=["bring", "others"]
)
def test_a_body_that_declares_too_much_is_refused_unread(
    company: Company, dispatcher: User, sign_in: SignIn, address: str, most: int, tmp_path: Path
) -> None:
    client = sign_in(dispatcher)

    assert post_unread(client, address, str(most + 1)) == 413
    assert post_unread(client, address, "much") == 413
    assert post_unread(client, address, "-1") == 413
    assert not (tmp_path / "uploads").exists()


def test_nobody_may_send_much_before_signing_in(client: Client, company: Company) -> None:
    assert post_unread(client, "/bring/", str(NOBODYS_BYTES + 1)) == 413
    assert client.post("/sign-in/", {"username": "hana", "password": "x"}).status_code == 200


def test_the_refusal_says_what_may_be_sent(company: Company, dispatcher: User, sign_in: SignIn) -> None:
    asked: dict[str, object] = {"wsgi.input": Unread(), "CONTENT_LENGTH": "900000000"}
    client = sign_in(dispatcher)
    answer = client.request(REQUEST_METHOD="POST", PATH_INFO="/bring/", CONTENT_TYPE=FORM, **asked)

    assert "Nothing was kept." in answer.content.decode()
    # A web server answers 500 in the place of a page that sets such a header (PEP 3333).
    assert not [name for name in answer.headers if is_hop_by_hop(name)]
    assert "MB may be sent here at once" in answer.content.decode()


def zipped(files: dict[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return held.getvalue()


def under_password() -> bytes:
    content = bytearray(zipped({"zone.shp": b"x"}))
    content[content.index(b"PK\x01\x02") + 8] |= 1
    return bytes(content)


def link() -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        member = zipfile.ZipInfo("zone.shp")
        member.external_attr = 0o120777 << 16
        archive.writestr(member, "/etc/passwd")
    return held.getvalue()


def overlapping() -> bytes:
    """Two entries of the list that point to one part: the packed sizes exceed the file."""
    content = zipped({"zone.shp": bytes(range(256)) * 40})
    start = content.index(b"PK\x01\x02")
    end = content.index(b"PK\x05\x06")
    entry, tail = content[start:end], bytearray(content[end:])
    tail[8:12] = (40).to_bytes(2, "little") * 2
    tail[12:16] = (40 * len(entry)).to_bytes(4, "little")
    return content[:start] + entry * 40 + bytes(tail)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        pytest.param(b"%PDF-1.7 ...", "is a PDF", id="pdf"),
        pytest.param(b"\xd0\xcf\x11\xe0\xa1\xb1", "Save the table as CSV", id="old spreadsheet"),
        pytest.param(zipped({"[Content_Types].xml": b"<x/>"}), "Save the table as CSV", id="spreadsheet"),
        pytest.param(b"\x89PNG\r\n", "is a picture", id="picture"),
        pytest.param(b"\x1f\x8b\x08", "Unpack it first", id="gzip"),
        pytest.param(b"\x7fELF", "is a program", id="program"),
        pytest.param(b"\x00\x00\x27\x0a", "Zip it with its .shx", id="shp alone"),
        pytest.param(b"\xff\xfes\x00i\x00", "UTF-16", id="utf-16"),
        pytest.param(b"\x00\x01\x02", "nothing that can be read here", id="bytes"),
        pytest.param(b"PK\x03\x04rubbish", "cut off or damaged", id="cut zip"),
        pytest.param(zipped({"a.kml": b"0" * 30_000_000}), "200-fold", id="bomb by ratio"),
        pytest.param(zipped({f"a{n}": b"" for n in range(2_001)}), "more than 2000 files", id="many files"),
        pytest.param(zipped({"b.zip": zipped({"a.kml": b"x"})}), "unpack it first", id="nested zip"),
        pytest.param(zipped({"../zone.shp": b"x"}), "leads out", id="climbs out"),
        pytest.param(zipped({"/zone.shp": b"x"}), "leads out", id="from the root"),
        pytest.param(zipped({"C:\\zone.shp": b"x"}), "leads out", id="drive"),
        pytest.param(zipped({"a\\..\\zone.shp": b"x"}), "leads out", id="backslash"),
        pytest.param(under_password(), "password", id="password"),
        pytest.param(link(), "a link", id="link"),
        pytest.param(overlapping(), "overlap", id="overlap"),
    ],
)
def test_what_is_no_book_is_refused_at_the_door_by_its_content(
    company: Company, dispatcher: User, sign_in: SignIn, content: bytes, words: str, tmp_path: Path
) -> None:
    sent = SimpleUploadedFile("gardens.geojson", content)

    told = sign_in(dispatcher).post("/bring/", {"file": sent}, follow=True).content.decode()

    assert words in told
    assert "gardens.geojson" in told
    assert "Nothing was kept." in told
    assert list((tmp_path / "uploads").glob("*")) == []


def test_each_form_has_its_own_limit(
    company: Company, dispatcher: User, sign_in: SignIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(upload_checks.LIMITS, "table of text", 20)
    client = sign_in(dispatcher)

    table = SimpleUploadedFile("a.csv", b"site,name\nCB-1,Okafor garden\n")
    told = client.post("/bring/", {"file": table}, follow=True).content.decode()
    assert "the most for a table of text" in told
    other = SimpleUploadedFile("a.csv", b'{"type": "FeatureCollection", "features": []}')
    assert client.post("/bring/", {"file": other}).status_code == 302


def test_the_weight_of_a_zip_is_that_of_its_content(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(zipped({"zone.shp": b"\x00\x00\x27\x0a" + bytes(500_000)}))

    assert upload_checks.weight_of_file(path) == 500_004
