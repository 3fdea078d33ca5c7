"""What a waiting file would do, kept beside it: checking a large book takes seconds, and is asked often."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, Final

import shapely
from django.db.models import Max

from fleet.services.bring_file import BOOK, Look, Moment, look_at_file
from fleet.services.uploads import Upload, data_path, plain_layout
from sites.calc.geometry import as_array
from sites.calc.geometry_report import Fault
from sites.importing.book import BookItem
from sites.importing.book_offers import Repair
from sites.models import Change, RuleSet, Site
from weather.importing.rows import ImportReport, RowProblem

FORM: Final = 1
MOST_SHAPES: Final = 4_000


def kept_look(*, folder: Path, upload: Upload, moment: Moment) -> Look:
    """What the file would do if every repair were accepted; checked anew only where something has changed.

    The answer does not depend on which repairs are accepted. It does on the file, whose bytes never change
    under its key, its layout, the company's day and clock, and the book, which changes only with its history.

    Parameters
    ----------
    folder
        Folder of the uploads.
    upload
        The file.
    moment
        Who asks, and when.
    """
    path = data_path(folder, upload)
    if upload.kind != BOOK:
        return look_at_file(path=path, upload=upload, moment=moment)
    beside, state = folder / f"{upload.key}.look", _state(upload, moment)
    kept = _read(beside, state)
    if kept is None:
        kept = _light(look_at_file(path=path, upload=upload, moment=moment))
        _write(beside, state, kept)
    return kept


def _state(upload: Upload, moment: Moment) -> list[object]:
    """Everything that the answer depends on, as JSON holds it."""
    newest = Change.objects.aggregate(newest=Max("pk"))["newest"]
    of_book = [newest, Site.objects.count(), RuleSet.objects.count()]
    layout = json.dumps(plain_layout(upload.layout), sort_keys=True)
    return [FORM, upload.name, upload.size, layout, moment.today.isoformat(), moment.timezone, *of_book]


def _light(look: Look) -> Look:
    """Of very many shapes only the sites, as the map draws no others."""
    sites = tuple(item for item in look.drawn if item.kind == "site")
    return replace(look, drawn=sites) if sites and len(look.drawn) > MOST_SHAPES else look


def _write(path: Path, state: list[object], look: Look) -> None:
    """Keep an answer."""
    shapes = shapely.to_wkb(as_array([item.shape for item in look.drawn]), hex=True).tolist()
    facts = {
        "state": state,
        "report": asdict(look.report),
        "repairs": [asdict(one) for one in look.repairs],
        "drawn": [
            (item.kind, item.site, item.is_refused, shape)
            for item, shape in zip(look.drawn, shapes, strict=True)
        ],
        "places": [(*row, *place) for row, place in look.places.items()],
    }
    fresh = path.with_suffix(".look-new")
    fresh.touch(mode=0o600)
    fresh.write_text(json.dumps(facts), encoding="utf-8")
    fresh.replace(path)


def _read(path: Path, state: list[object]) -> Look | None:
    """The answer that was kept for this state; None where there is none, or it cannot be read."""
    try:
        facts = json.loads(path.read_text(encoding="utf-8"))
        return _look(facts) if facts["state"] == state else None
    except (OSError, ValueError, KeyError, TypeError, shapely.errors.ShapelyError):
        return None


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
