"""One way out of a program that falls short, and what it is worth: its gains with its losses taken off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from sites.calc.search.garden import Figures

# A way that spares fewer dry zone-days than this, and does not make the program fit, is no way out [d].
LEAST_DRY_DAYS: Final = 3.0
# Below this gain, by what the search weighs, a way is not worth its trouble [1]: a point of losses.
LEAST_WORTH: Final = 0.01
# A fall of need met that is told [%], and water lost that is, as a share of the water [1].
_POINTS_WORTH_SAYING: Final = 0.2
_WASTE_WORTH_SAYING: Final = 0.03


@dataclass(frozen=True, slots=True)
class Way:
    """One way out.

    Parameters
    ----------
    key
        What is changed: `threshold`, `place`, `order`, `heads`, `starts`, `together`, `hours`, `days`
        or `second`.
    words
        What to do, in a sentence.
    needs
        Whose word or work it takes.
    values
        Fields of the what-if that show it; empty where it cannot be shown there.
    before, after
        Best program without and with it.
    """

    key: str
    words: str
    needs: str
    values: tuple[tuple[str, str], ...]
    before: Figures
    after: Figures

    @property
    def dry_days_spared(self) -> float:
        """Zone-days beyond the allowed depletion that it spares over the four weeks [d]."""
        return self.before.dry_days - self.after.dry_days

    @property
    def worth(self) -> float:
        """What it gains by all that the search weighs, its losses taken off [1]; below 0 it costs more."""
        return self.before.cost - self.after.cost

    @property
    def verdict(self) -> str:
        """`enough` where only it fits, `helps`, `helps but` where something falls, or `no gain`."""
        if self.after.fits and not self.before.fits:
            return "enough"
        if self.worth <= LEAST_WORTH:
            return "no gain"
        return "helps but" if self.losses else "helps"

    @property
    def losses(self) -> tuple[str, ...]:
        """What falls, in words."""
        found = []
        for now, then, words in (
            (self.before.adequacy_pct, self.after.adequacy_pct, "need met falls"),
            (self.before.worst_pct, self.after.worst_pct, "the worst zone falls"),
        ):
            if now - then >= _POINTS_WORTH_SAYING:
                found.append(f"{words} from {now:.1f} to {then:.1f} %")
        if self.dry_days_spared <= -LEAST_DRY_DAYS:
            found.append(f"{-self.dry_days_spared:.0f} more dry zone-days")
        wasted = self.after.lost_l - self.before.lost_l
        if wasted > _WASTE_WORTH_SAYING * max(self.before.water_l, 1.0):
            found.append(f"{100 * wasted / max(self.before.water_l, 1.0):.0f} % more of the water is lost")
        return tuple(found)

    @property
    def litres_more(self) -> float:
        """Water that it takes more over the four weeks [L]."""
        return self.after.water_l - self.before.water_l
