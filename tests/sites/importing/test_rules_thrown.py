"""Generated stages thrown at the importer of rules: nothing breaks, nothing is half written, all is named."""

from __future__ import annotations

import copy
import json
import random
import time
from pathlib import Path
from typing import Any

import pytest

from sites.calc.rules.file import FIELDS, parse_stage
from sites.models import Change, RuleSet, RuleStage
from sites.services.record_rules import import_rules
from tests.sites.importing.book_files import NOW
from weather.importing.rows import ImportReport

pytestmark = pytest.mark.django_db
STAGES_IN_CI = 2_000
STAGES_IN_BENCHMARK = 100_000
GOOD: dict[str, Any] = {
    "name": "two days a week",
    "from": "2024-03-01",
    "until": None,
    "address_rule": "none",
    "weekdays": {"odd": ["wed", "sat"], "even": ["thu", "sun"]},
    "dates": "any",
    "bar_31st": False,
    "windows": ["20:00-08:00"],
    "window_day": "opening",
    "max_days_per_week": 2,
    "max_minutes_per_station": 15,
    "applies_to": {"heads": ["rotor"], "plants": []},
    "exempt_days_after_planting": 30,
    "source": "invented",
    "checked_on": "2026-05-26",
}
ODD: tuple[Any, ...] = (
    None, True, -1, 0, 8, 1.5, 10**20, "", " ", "nan", "odd", "even", "2026-02-30", "24:00-25:00",
    "x" * 5000,
    "<b>", "\u0663", [], ["mon"], ["mon", "mon"],
    ["20:00-20:00"], ["8-9"], [None], [[]], {}, {"odd": ["mon"]},
    {"odd": "mon"}, {"heads": ["lawn"]}, {"heads": None}, {"a": {"b": {}}},
)  # fmt: skip


def thrown(count: int, seed: int) -> list[Any]:
    """Sets of one to four stages, most of them right; now and then a set that is none, or a code twice."""
    chance = random.Random(seed)
    sets: list[Any] = []
    made = 0
    while made < count:
        stages = [copy.deepcopy(GOOD) | {"name": f"stage {n}"} for n in range(chance.randint(1, 4))]
        made += len(stages)
        for stage in stages:
            for name in chance.sample(FIELDS, chance.choice((0, 0, 0, 0, 1, 2))):
                stage[name] = copy.deepcopy(chance.choice(ODD))
            if chance.random() < 0.03:
                stage[chance.choice(("untill", "", "window"))] = 1
        one: Any = {"rule_set": f"set-{len(sets)}", "supplier": "Wend Valley Water", "stages": stages}
        if chance.random() < 0.1:
            one[chance.choice(("rule_set", "supplier", "stages", "extra"))] = chance.choice(ODD)
        sets.append(chance.choice((None, 7, "set", [])) if chance.random() < 0.03 else one)
        if chance.random() < 0.02:
            sets.append(copy.deepcopy(sets[-1]))
    return sets


def bring(path: Path, *, keep_good: bool = False) -> ImportReport:
    return import_rules(path=path, by="test", now=NOW, keep_good=keep_good)


def throw(folder: Path, count: int) -> ImportReport:
    sets = thrown(count, seed=7)
    path = folder / "rules.json"
    path.write_text(json.dumps({"rule_sets": sets}), encoding="utf-8")

    refused = bring(path)

    assert refused.problems
    assert not refused.written
    assert RuleSet.objects.count() == RuleStage.objects.count() == Change.objects.count() == 0
    assert all(1 <= one.row <= len(sets) and one.expected for one in refused.problems)
    kept = bring(path, keep_good=True)
    assert kept.written
    bad = {one.row for one in kept.problems}
    meant = {one["rule_set"]: one for number, one in enumerate(sets, start=1) if number not in bad}
    stored = {one.code: one for one in RuleSet.objects.prefetch_related("stages")}
    assert stored.keys() == meant.keys()
    assert len(stored) == kept.added == Change.objects.count() > len(sets) // 4
    for code, one in stored.items():
        specs = {stage.name: stage.spec for stage in one.stages.all()}
        assert specs == {parse_stage(spec).name: spec for spec in meant[code]["stages"]}
    again = bring(path, keep_good=True)
    assert (again.added, again.changed) == (0, 0)
    return kept


def test_stages_thrown_at_the_importer_of_rules(tmp_path: Path) -> None:
    throw(tmp_path, STAGES_IN_CI)


def test_a_set_with_a_bad_stage_stays_out_whole_and_the_next_one_comes_in(tmp_path: Path) -> None:
    half = {"rule_set": "half", "stages": [GOOD, {**GOOD, "name": "a ban", "windows": ["8-9"]}]}
    good = {"rule_set": "good", "stages": [GOOD]}
    path = tmp_path / "rules.json"
    path.write_text(json.dumps({"rule_sets": [None, half, good]}), encoding="utf-8")

    kept = bring(path, keep_good=True)

    assert [one.row for one in kept.problems] == [1, 2]
    assert list(RuleSet.objects.values_list("code", flat=True)) == ["good"]
    assert RuleStage.objects.count() == 1


@pytest.mark.benchmark
def test_many_stages_thrown_at_the_importer_of_rules(tmp_path: Path) -> None:
    began = time.perf_counter()
    kept = throw(tmp_path, STAGES_IN_BENCHMARK)
    took = time.perf_counter() - began
    print(f"rules: {STAGES_IN_BENCHMARK:,} stages, three times, {kept.added:,} sets kept, {took:.0f} s")  # noqa: T201
