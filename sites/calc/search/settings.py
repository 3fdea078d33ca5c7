"""Every number that the weekly round chooses by: one frozen set of settings."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProgramSettings:
    """What a good program is, and how hard to look for one. All values are own choices, tried on simulations.

    Parameters
    ----------
    target_adequacy
        Planned share of landscape ET that is met without stress [1]; 0.95 is promised.
    promised_adequacy
        Share of landscape ET that the sheet promises [1].
    most_dry_share
        Largest share of days beyond the allowed depletion [1].
    horizon_days
        Days that a candidate is run over [d].
    seasons
        Past seasons to run it against [1].
    least_seasons
        Below this, days of the last weeks fill up, and the history is called short [1].
    driest_share
        Share of the seasons, driest first, that a governed program is sized for [1]: it stands for months.
    forecast_days
        First days of the horizon that take the forecast, where there is one [d].
    forecast_rain_credit
        Part of the forecast rain that is counted on [1].
    threshold_factor
        Factor on the threshold depletion [1]: too low costs starts, too high costs water.
    least_threshold_mm
        Smallest threshold depletion to plan with [mm].
    run_loss_mm
        Depth that each run loses to filling, drain-down and wet leaves [mm].
    margin_strength
        Margin of a zone is exp(strength x spread of its ratio to the governing zone) [1].
    opportunity_strength
        The same for the starts that a governing zone is offered [1]: its sensor blocks what it does not use.
    shortfall_weight, dry_weight, start_weight, letter_weight
        Cost of a unit of missing adequacy, of dry share beyond its bound, of a start a week, and of a second
        program letter, against 1 for losing as much water as the zone needs [1].
    broken_hours, overrun_weight
        Cost of a program that does not fit its hours, before the shortfall weight [1].
    keep_shortfall, keep_loss, keep_loss_clock
        What is set stays as long as it is within these of the best: missing adequacy [1], loss per need [1],
        governed and by the clock alone.
    least_dry_days, least_lost_l
        Dry zone-days [d] or litres lost [L] over the horizon that a change has to spare: below, somebody's
        minutes at the timer cost more.
    sensor_settle_min
        Least time from the end of a pass to the next start of a governed controller [min].
    start_step_min
        Start times are keyed in whole steps [min].
    done_by_min
        Time of day by which watering is best over [min after midnight].
    shortlist
        Candidates of a controller that are run with all its zones [1].
    second_letter_loss
        Loss per need above which a second program letter is tried [1].
    """

    target_adequacy: float = 0.98
    promised_adequacy: float = 0.95
    most_dry_share: float = 0.10
    horizon_days: int = 28
    seasons: int = 10
    least_seasons: int = 5
    driest_share: float = 0.5
    forecast_days: int = 7
    forecast_rain_credit: float = 0.7
    threshold_factor: float = 0.7
    least_threshold_mm: float = 1.5
    run_loss_mm: float = 0.4
    margin_strength: float = 0.40
    opportunity_strength: float = 0.5
    shortfall_weight: float = 20.0
    dry_weight: float = 4.0
    start_weight: float = 0.0003
    letter_weight: float = 0.002
    broken_hours: float = 0.02
    overrun_weight: float = 0.5
    keep_shortfall: float = 0.02
    keep_loss: float = 0.03
    keep_loss_clock: float = 0.10
    least_dry_days: float = 5.0
    least_lost_l: float = 1_500.0
    sensor_settle_min: float = 30.0
    start_step_min: int = 5
    done_by_min: int = 6 * 60
    shortlist: int = 12
    second_letter_loss: float = 0.02

    def __post_init__(self) -> None:
        """Refuse settings that make no sense."""
        if not 0 < self.promised_adequacy <= self.target_adequacy <= 1:
            raise ValueError("adequacy is planned above what is promised, both in 0 to 1")
        if self.horizon_days < 7 or self.seasons < 1 or self.least_seasons < 1:
            raise ValueError("a program is tried on at least a week of at least one season")
        if not 0 < self.driest_share <= 1 or not 0 <= self.forecast_rain_credit <= 1:
            raise ValueError("shares lie in 0 to 1")
        if min(self.run_loss_mm, self.margin_strength, self.keep_shortfall, self.keep_loss) < 0:
            raise ValueError("losses, margins and keep bands are never negative")


LEAST_RUN_MIN = {"fixed_spray": 2.0, "rotor": 4.0, "rotary_nozzle": 5.0, "dripline": 5.0, "bubbler": 2.0}
