"""How a board of many people is cut into pages of lanes."""

from __future__ import annotations

from typing import Final

# People who are looked at together; with more of them there are pages of fewer lanes, with the map in sight.
MOST_LANES: Final = 16
PAGE_LANES: Final = 12


def page_sizes(people: int) -> tuple[int, ...]:
    """Number of people on each page: one page while all fit, else as even as can be [-].

    Parameters
    ----------
    people
        How many people there are [-].
    """
    if people <= MOST_LANES:
        return (people,) if people > 0 else ()
    pages = -(-people // PAGE_LANES)
    least, more = divmod(people, pages)
    return tuple(least + (number < more) for number in range(pages))
