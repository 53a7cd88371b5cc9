"""The way and its stops: equal to exhaustive search, right on odd networks."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from roadworks import exhaustive, random_quest, roads_of, scenario_at, tap, trails

from haulplan.errors import InputError, NoPlanError
from haulplan.roads import choose_way, prepare, turned_back
from haulplan.scenario import Scenario


@pytest.fixture(scope="module")
def plain_scenario(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    return scenario_at(tmp_path_factory.mktemp("roads"))


@pytest.mark.parametrize("block", range(11))
def test_the_choice_equals_exhaustive_search(block: int, plain_scenario: Scenario) -> None:
    for seed in range(10 * block, 10 * block + 10):
        try:
            quest = random_quest(seed, plain_scenario)
        except (NoPlanError, InputError):
            continue
        least = exhaustive(quest)
        try:
            chosen = choose_way(quest)
        except NoPlanError:
            assert math.isinf(least), f"seed {seed}: a way was there"
            continue
        assert chosen.best.plan.objective == pytest.approx(least, rel=5e-4), f"seed {seed}"
        assert chosen.proven
        assert chosen.bound <= least * (1 + 5e-4)
