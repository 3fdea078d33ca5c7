"""What zones are planned with beside their own demand: margins, and what sensors' logs taught."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from sites.calc.search.margin import margins
from sites.calc.search.settings import ProgramSettings
from sites.calc.zone_table import ZoneTable
from sites.models import Zone
from sites.selectors.round_inputs import RoundControllers
from sites.selectors.sensor_logs import learned_by_controller
from weather.calc.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Demand:
    """Factors on each zone's demand [1], (zones,).

    Parameters
    ----------
    margin
        Margin for what is not known of it.
    use_factor
        What its sensor's log taught.
    by_controller
        The same, one for each controller [1]; 1 where nothing was learned.
    """

    margin: FloatArray
    use_factor: FloatArray
    by_controller: FloatArray


def round_demand(table: ZoneTable, found: RoundControllers, today: date, settings: ProgramSettings) -> Demand:
    """Factors of all zones of the round's controllers."""
    governing, owner = _governing(table, found)
    factors = dict(Zone.objects.filter(pk__in=table.zone_id.tolist()).values_list("pk", "margin_factor"))
    learned = learned_by_controller(
        zones=table,
        controller_id=found.table.controller_id,
        governing=governing,
        threshold_mm=found.table.threshold_mm,
        today=today,
        settings=settings,
    )
    margin = margins(
        table,
        governing[owner],
        np.array([factors[int(pk)] for pk in table.zone_id]),
        settings,
        weight=learned.weight[owner],
        error_variance=learned.error_variance[owner],
    )
    return Demand(margin, learned.use_factor(governing, len(table)), learned.factor)


def _governing(table: ZoneTable, found: RoundControllers) -> tuple[IntArray, IntArray]:
    """Position of the zone that governs each controller, -1 where none does; each zone's controller."""
    position = {int(pk): at for at, pk in enumerate(found.table.controller_id)}
    owner = np.array([position[int(pk)] for pk in table.controller_id], dtype=np.int64)
    governing = np.full(len(found.table), -1, dtype=np.int64)
    at = np.flatnonzero(table.is_governing & found.table.is_governed[owner])
    governing[owner[at]] = at
    return governing, owner
