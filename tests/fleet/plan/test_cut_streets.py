"""Street files that were cut off, in every form they come in: refused by name, the old network plans on."""

from __future__ import annotations

import bz2
import gzip
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import osmium
import pytest
from django.conf import settings
from django.core.management import call_command
from osmium.osm.mutable import Node, Way

from fleet.models import Company, Technician, Visit
from fleet.services.plan.plan_routes import plan_routes
from fleet.services.plan.streets import build_streets
from fleet.streets.osm_file import UnreadableStreets, read_streets
from fleet.streets.store import network_path
from tests.factories import DAY, build_need, build_site, build_technician

SIDE = 95  # so that its ways fill three blocks
STEP = 0.001
EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)


def write_grid(path: Path, side: int = SIDE, south: float = 41.0, nodes_of: int | None = None) -> Path:
    """A town of blocks with a way a block, nodes first; of the first nodes only where `nodes_of` says so."""
    with osmium.SimpleWriter(str(path)) as writer:
        for number in range(side * side):
            if nodes_of is None or number < nodes_of:
                row, column = divmod(number, side)
                spot = (-104 + column * STEP, south + row * STEP)
                writer.add_node(Node(id=number + 1, location=spot, version=1))
        ways = [(n, n + 1) for n in range(side * side) if (n + 1) % side]
        ways += [(n, n + side) for n in range(side * (side - 1))]
        for number, pair in enumerate(sorted(ways), start=1):
            refs = [end + 1 for end in pair]
            writer.add_way(Way(id=number, nodes=refs, tags={"highway": "residential"}, version=1))
    return path


def block_ends(content: bytes) -> list[int]:
    """Where each block of a PBF file ends: length, header with the size of what follows, the block."""
    ends, at = [], 0
    while at < len(content):
        head = int.from_bytes(content[at : at + 4], "big")
        header = content[at + 4 : at + 4 + head]
        # Field 3 of the header (tag 0x18), the last of it: the size as a varint.
        shown = header[header.rindex(b"\x18") + 1 :]
        size = sum((byte & 0x7F) << (7 * place) for place, byte in enumerate(shown))
        at += 4 + head + size
        ends.append(at)
    assert at == len(content)
    return ends


def cut_between_blocks(whole: Path, left_out: int = 1) -> Path:
    """The file without its last blocks, well formed as it is."""
    content = whole.read_bytes()
    cut = whole.with_name("cut.osm.pbf")
    cut.write_bytes(content[: block_ends(content)[-1 - left_out]])
    return cut


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_grid(tmp_path_factory.mktemp("town") / "town.osm.pbf")


def refused(path: Path, data_dir: Path) -> str:
    """Why a file is refused; what was there stays."""
    kept = network_path(data_dir)
    before = kept.read_bytes() if kept.is_file() else b""
    with pytest.raises(UnreadableStreets) as error:
        build_streets(path=path, data_dir=data_dir)
    assert (kept.read_bytes() if kept.is_file() else b"") == before
    assert path.name in str(error.value)
    return str(error.value)


def test_a_whole_file_in_blocks_is_taken(town: Path, tmp_path: Path) -> None:
    assert build_streets(path=town, data_dir=tmp_path).junctions == SIDE * SIDE


@pytest.mark.parametrize("left_out", [1, 2])
def test_blocks_of_ways_that_are_missing_are_found_with_no_network_to_compare(
    town: Path, tmp_path: Path, left_out: int
) -> None:
    cut = cut_between_blocks(town, left_out)

    assert "no way leads through" in refused(cut, tmp_path)
    with pytest.raises(SystemExit):
        call_command("build_streets", str(cut), stdout=StringIO())
    call_command("build_streets", str(cut), "--anyway", stdout=StringIO())
    assert network_path(Path(settings.DATA_DIR)).is_file()


@pytest.mark.parametrize("ending", ["osm", "osm.gz", "osm.bz2", "osm.pbf"])
@pytest.mark.parametrize("kept", [0.3, 0.6, 0.97])
def test_a_file_of_any_form_cut_within_a_block_is_refused(
    town: Path, tmp_path: Path, ending: str, kept: float
) -> None:
    whole = write_grid(tmp_path / "plain.osm", 20)
    build_streets(path=whole, data_dir=tmp_path)
    plain = whole.read_bytes()
    forms = {
        "osm": plain,
        "osm.gz": gzip.compress(plain),
        "osm.bz2": bz2.compress(plain),
        "osm.pbf": town.read_bytes(),
    }
    cut = tmp_path / f"short.{ending}"
    cut.write_bytes(forms[ending][: round(len(forms[ending]) * kept)])

    refused(cut, tmp_path)


def test_streets_whose_points_are_not_in_the_file_are_refused(tmp_path: Path) -> None:
    half = write_grid(tmp_path / "half.osm", 20, nodes_of=200)

    assert "not in it" in refused(half, tmp_path)
    assert len(read_streets(half, anyway=True).latitude) == 200


def test_a_much_smaller_network_replaces_another_of_its_area_only_when_asked(
    town: Path, tmp_path: Path
) -> None:
    build_streets(path=town, data_dir=tmp_path)
    small = write_grid(tmp_path / "small.osm", 60)
    assert "3600 junctions" in refused(small, tmp_path)

    assert build_streets(path=small, data_dir=tmp_path, anyway=True).junctions == 3600
    # Another town is another matter, and so is a little less of the same one.
    assert build_streets(path=write_grid(tmp_path / "less.osm", 50), data_dir=tmp_path).junctions == 2500
    moved = write_grid(tmp_path / "moved.osm", 20, south=44.0)
    assert build_streets(path=moved, data_dir=tmp_path).junctions == 400


def test_a_kept_network_that_cannot_be_read_does_not_bar_a_new_one(town: Path, tmp_path: Path) -> None:
    network_path(tmp_path).parent.mkdir()
    network_path(tmp_path).write_bytes(b"broken")

    assert build_streets(path=town, data_dir=tmp_path).junctions == SIDE * SIDE


@pytest.mark.django_db
def test_the_week_is_still_planned_over_the_old_streets_after_a_refused_file(
    company: Company, town: Path
) -> None:
    data_dir = Path(settings.DATA_DIR)
    build_streets(path=town, data_dir=data_dir)
    build_technician()
    Technician.objects.update(
        start_latitude=41.0, start_longitude=-104.0, end_latitude=41.0, end_longitude=-104.0
    )
    for number in range(3):
        build_need(build_site(f"CB-{number}", latitude=41.09, longitude=-103.95 + 0.01 * number))
    refused(cut_between_blocks(town), data_dir)

    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=10)

    assert (done.visits, done.is_estimated) == (3, False)
    assert set(Visit.objects.values_list("unserved_code", flat=True)) == {""}
