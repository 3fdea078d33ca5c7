"""The rows of the score: methods by name, and the same methods with more or less water, for the frontier."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Final

from fleet.scoring.program_methods import Known, Method, ours, told_the_truth
from fleet.scoring.program_rivals import (
    four_small_starts,
    monthly_adjusted,
    naive_fixed,
    peak_in_ratio,
    peak_without_run_losses,
)
from fleet.scoring.program_setting import Setting
from sites.calc.search.settings import ProgramSettings

METHODS: Final[dict[str, Method]] = {
    "ours": ours,
    "told the truth": told_the_truth,
    "fixed 12 mm x 3": naive_fixed,
    "peak in ratio, cycle-soak": peak_in_ratio,
    "peak, run losses forgotten": peak_without_run_losses,
    "monthly, 25 % rain credit": monthly_adjusted,
    "daily, four small starts": four_small_starts,
}
# A full refill of every zone on every open day, without loss: what no program can pass on those days.
REFILL: Final = "full refill on open days"
_SPARING: Final = ProgramSettings(target_adequacy=0.93, promised_adequacy=0.90, most_dry_share=0.5)


def _peak_times(known: Known, before: Setting | None, *, share: float) -> Setting:
    """The peak program sized for more."""
    return peak_in_ratio(replace(known, peak_et_mm_d=share * known.peak_et_mm_d), before)


# More and less water by the same methods: what each reaches at the water of another.
FRONTIER: Final[dict[str, Method]] = {
    "ours, sparing": partial(ours, settings=replace(_SPARING, margin_strength=0.0)),
    "ours, no margin": partial(ours, settings=ProgramSettings(margin_strength=0.0)),
    "ours, twice the margin": partial(
        ours, settings=ProgramSettings(margin_strength=2.0 * ProgramSettings().margin_strength)
    ),
    "told the truth, sparing": partial(told_the_truth, settings=_SPARING),
    "peak in ratio + 10 %": partial(_peak_times, share=1.1),
    "peak in ratio + 30 %": partial(_peak_times, share=1.3),
}
