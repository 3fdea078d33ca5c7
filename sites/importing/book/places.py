"""Where the refused rows of a book lie, so that a preview can point to them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from sites.importing.book.items import Book


def places_of_problems(book: Book) -> dict[tuple[str, int], tuple[float, float]]:
    """Longitude and latitude of the middle of each refused row that has a place, by file and row [deg].

    Parameters
    ----------
    book
        A book with its problems noted.
    """
    wanted = {(problem.file, problem.row) for problem in book.problems}
    rows = [(book.file.name_of(row.layer), row.number) for row in book.file.rows]
    box = shapely.bounds(book.file.geometries).reshape(-1, 4)
    middles = (box[:, :2] + box[:, 2:]) / 2
    with np.errstate(invalid="ignore"):
        on_globe: npt.NDArray[np.bool_] = np.all(np.abs(middles) <= np.array([180, 90]), axis=1)
    return {
        row: (float(lon), float(lat))
        for row, (lon, lat), is_on in zip(rows, middles, on_globe, strict=True)
        if is_on and row in wanted
    }
