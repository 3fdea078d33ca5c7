"""Things that are known by their shape, told again with another one: which of the book's each one is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import shapely

from sites.calc.geometry.areas import Geometries, as_array, in_local_metres
from sites.importing.book.items import SHAPE_KEYED, BookItem, Key
from sites.importing.book.tables import Fields

MOVED_AT_MOST_M: Final[dict[str, float]] = {
    "wire": 10.0,
    "structure": 10.0,
    "sprinkler": 1.5,
    "water_meter": 15.0,
    "shutoff": 15.0,
    "backflow_preventer": 15.0,
}
"""How far every point of a thing may have moved and it still be the same one: heads stand close together."""

_BESIDE_M: Final = 2.0
_SHARE: Final = 0.5


def moved_things(kind: str, items: Sequence[BookItem], stored: Mapping[Key, Fields]) -> dict[Key, Key]:
    """Keys of the file's things that are ones of the book with another shape, and their keys in the book.

    A thing whose very shape stands in the book is that one. Of what is left in the same garden (of sprinklers
    in the same zone) those are paired that lie nearest to each other, each once: no point has moved further
    than its kind may, or half of a wire or structure still lies where it lay. Structures keep their type.

    Parameters
    ----------
    kind
        Kind of the things.
    items
        Things of the file, of one kind.
    stored
        The book's things of that kind, by natural key.
    """
    if kind not in SHAPE_KEYED:
        return {}
    come: dict[Key, list[BookItem]] = {}
    for item in items:
        if item.key not in stored:
            come.setdefault(item.key[:-1], []).append(item)
    told = {item.key for item in items}
    left: dict[Key, list[Key]] = {}
    for key in stored:
        if key[:-1] in come and key not in told:
            left.setdefault(key[:-1], []).append(key)
    pairs = [
        (item, key)
        for parent, new in come.items()
        for item in new
        for key in left.get(parent, ())
        if kind != "structure" or item.values.get("type") == stored[key]["type"]
    ]
    return _nearest_first(kind, pairs, stored) if pairs else {}


def _nearest_first(
    kind: str, pairs: Sequence[tuple[BookItem, Key]], stored: Mapping[Key, Fields]
) -> dict[Key, Key]:
    """Pairs that are one thing, the nearest taken first."""
    new = in_local_metres(as_array([item.shape for item, _ in pairs]))
    old = in_local_metres(
        shapely.from_wkb(np.array([stored[key]["geometry"] for _, key in pairs], dtype=object))
    )
    apart = np.asarray(shapely.hausdorff_distance(new, old), dtype=float)
    is_one = apart <= MOVED_AT_MOST_M[kind]
    if kind in ("wire", "structure"):
        is_one |= _shared(new, old) >= _SHARE
    found: dict[Key, Key] = {}
    taken: set[Key] = set()
    for at in np.argsort(apart, kind="stable"):
        item, key = pairs[at]
        if is_one[at] and item.key not in found and key not in taken:
            found[item.key] = key
            taken.add(key)
    return found


def _shared(new: Geometries, old: Geometries) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Share of the smaller of each pair that lies on the other [1], lines within two metres beside it."""
    ground, other = _ground(new), _ground(old)
    least = np.minimum(shapely.area(ground), shapely.area(other))
    with np.errstate(invalid="ignore", divide="ignore"):
        share = shapely.area(shapely.intersection(ground, other)) / least
    return np.nan_to_num(np.asarray(share, dtype=np.float64))


def _ground(shapes: Geometries) -> Geometries:
    """Ground of each shape: its own, or of a line the strip beside it."""
    is_line = shapely.get_dimensions(shapes) == 1
    ground = shapes.copy()
    ground[is_line] = shapely.buffer(shapes[is_line], _BESIDE_M)
    return ground


def told_of_moved(kind: str, items: Sequence[BookItem], moved: Mapping[Key, Key]) -> list[str]:
    """A line for a preview: which rows are taken for things of the book that lie elsewhere now.

    Parameters
    ----------
    kind, items
        As of `moved_things`.
    moved
        Its answer.
    """
    rows = [f"{item.layer} {item.row}".strip() for item in items if item.key in moved]
    if not rows:
        return []
    listed = ", ".join(rows[:10]) + (" and others" if len(rows) > 10 else "")
    what = f"{kind}: {len(rows)} taken for things of the book that lie elsewhere now, rows {listed}"
    return [f"{what} (they are moved there, not added again)"]
