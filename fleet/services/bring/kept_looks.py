"""What a waiting file would do, kept beside it: checking a large book takes seconds, and is asked often."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from django.db.models import Max

from fleet.services.bring.file import Look
from fleet.services.bring.kinds import Moment
from fleet.services.bring.uploads import Upload, plain_layout
from sites.calc.geometry.areas import as_array
from sites.calc.geometry.neighbours import near_places
from sites.calc.geometry.report import Fault
from sites.importing.book.items import BookItem
from sites.importing.book.offers import Repair
from sites.models import Change, RuleSet, Site
from weather.importing.rows import ImportReport, RowProblem

FORM: Final = 3
MOST_SHAPES: Final = 4_000


@dataclass(frozen=True, slots=True)
class KeptLook:
    """An answer that was kept: when it was made, and whether all that it depends on is as it was then."""

    look: Look
    made_at: datetime
    is_fresh: bool


def kept_look(*, folder: Path, upload: Upload, moment: Moment) -> KeptLook | None:
    """What the file would do if every repair were accepted, as it was last checked; None where it was not.

    The answer does not depend on which repairs are accepted. It does on the file, whose bytes never change
    under its key, on its layout (an answer of another layout is none), on the company's day and clock, and on
    the book, which changes only with its history.

    Parameters
    ----------
    folder
        Folder of the uploads.
    upload
        The file.
    moment
        Who asks, and when.
    """
    try:
        facts = json.loads(_path(folder, upload).read_text(encoding="utf-8"))
        if facts["file"] != _of_file(upload):
            return None
        made_at = datetime.fromisoformat(facts["made_at"])
        return KeptLook(_look(facts), made_at, facts["book"] == state_of_book(moment))
    except (OSError, ValueError, KeyError, TypeError, shapely.errors.ShapelyError):
        return None


def keep_look(*, folder: Path, upload: Upload, moment: Moment, look: Look, book: list[object]) -> None:
    """Keep an answer.

    Parameters
    ----------
    folder, upload, moment
        As of `kept_look`.
    look
        The answer; of very many shapes only those that the map draws are kept:
        sites, and what is near a mark.
    book
        State of the book from before the file was checked.
    """
    kept = _light(look)
    shapes = shapely.to_wkb(as_array([item.shape for item in kept.drawn]), hex=True).tolist()
    facts = {
        "file": _of_file(upload),
        "book": book,
        "made_at": moment.now.isoformat(),
        "report": asdict(kept.report),
        "repairs": [asdict(one) for one in kept.repairs],
        "drawn": [
            (item.kind, item.site, item.is_refused, shape)
            for item, shape in zip(kept.drawn, shapes, strict=True)
        ],
        "places": [(*row, *place) for row, place in kept.places.items()],
    }
    path = _path(folder, upload)
    fresh = path.with_suffix(".look-new")
    fresh.touch(mode=0o600)
    fresh.write_text(json.dumps(facts), encoding="utf-8")
    fresh.replace(path)


def _path(folder: Path, upload: Upload) -> Path:
    """Where an answer lies."""
    return folder / f"{upload.key}.look"


def _of_file(upload: Upload) -> list[object]:
    """What the answer depends on of the file, as JSON holds it."""
    layout = json.dumps(plain_layout(upload.layout), sort_keys=True)
    return [FORM, upload.name, upload.size, upload.kind, layout]


def state_of_book(moment: Moment) -> list[object]:
    """What an answer depends on of the book, the day and the clock, as JSON holds it.

    Parameters
    ----------
    moment
        The company's day and clock.
    """
    newest = Change.objects.aggregate(newest=Max("pk"))["newest"]
    counts = [newest, Site.objects.count(), RuleSet.objects.count()]
    return [moment.today.isoformat(), moment.timezone, *counts]


def _light(look: Look) -> Look:
    """Of very many shapes only the sites, and what lies near a mark, as the map draws no others."""
    if len(look.drawn) <= MOST_SHAPES:
        return look
    mended = [(one.longitude, one.latitude) for one in look.repairs if one.longitude is not None]
    spots = np.array([*mended, *look.places.values()][:MOST_SHAPES], dtype=float).reshape(-1, 2)
    near = near_places(as_array([item.shape for item in look.drawn]), spots)
    near &= np.cumsum(near) <= 3 * MOST_SHAPES
    kept = (item for item, is_near in zip(look.drawn, near, strict=True) if is_near or item.kind == "site")
    return replace(look, drawn=tuple(kept))


def _look(facts: dict[str, Any]) -> Look:
    """An answer from what was written down."""
    report = facts["report"]
    problems = tuple(RowProblem(**one) for one in report["problems"])
    shapes = shapely.from_wkb([shape for *_, shape in facts["drawn"]])
    drawn = tuple(
        BookItem(0, "", kind, (site,), {"site": site}, frozenset(), shape, is_refused=is_refused)
        for (kind, site, is_refused, _), shape in zip(facts["drawn"], shapes, strict=True)
    )
    return Look(
        ImportReport(**(report | {"problems": problems, "warnings": tuple(report["warnings"])})),
        tuple(Repair(**(one | {"fault": Fault(one["fault"])})) for one in facts["repairs"]),
        drawn,
        {(file, row): (lon, lat) for file, row, lon, lat in facts["places"]},
    )
