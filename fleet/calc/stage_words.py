"""What people call each stage of the night's work."""

from __future__ import annotations

from typing import Final

# The stages of a night, in their order.
NIGHT_WORDS: Final[dict[str, str]] = {
    "pull_weather": "weather",
    "assign_locations": "locations of gardens",
    "update_balance": "water balance",
    "weekly_round": "weekly round",
    "watch_sensors": "sensor watch",
    "raise_needs": "visit needs",
    "plan_routes": "routes",
    "update_ledger": "water ledger",
}
# What else a worker does.
STAGE_WORDS: Final[dict[str, str]] = NIGHT_WORDS | {
    "run_day": "the night's work",
    "weather_batch": "weather of some points",
    "look_at_file": "look at a file",
    "save_file": "saving of a file",
}


def stage_words(stage: str) -> str:
    """What people call a stage [-].

    Parameters
    ----------
    stage
        Its name, as a run has it [-].
    """
    return STAGE_WORDS.get(stage, stage.replace("_", " "))
