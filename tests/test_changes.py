"""Two revisions of a plan compared: what is said to have changed has, and nothing else."""

import copy
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from haulplan.cli import main
from haulplan.demand import build_demand
from haulplan.errors import InputError
from haulplan.outputs.changes import render_changes
from haulplan.outputs.exchange import plan_document
from haulplan.plan import make_plan
from haulplan.plan.changes import compare_stops, read_revision
from haulplan.route import build_route
from haulplan.scenario import read_scenario
from haulplan.units import UNIT_SYSTEMS

Toml = dict[str, Any]
Write = Callable[..., Path]

USE = "from [km],to [km],duration [min],water [kg],coal [kg]\n0,10,100,600,40\n"
TAPS = (
    "name,kind,at [km],set_up [min],water_available,water_rate [kg/min]\n"
    "[red]Mill,tap,5,5,unlimited,50\nPond,pond,6,15,unlimited,50\n"
)


@pytest.fixture
def document(measured: Toml, write: Write) -> dict[str, Any]:
    """A plan that stops once, at the mill: 250 kg of water."""
    scenario = read_scenario(write(measured, {"demand.csv": USE, "supply.csv": TAPS}))
    route = build_route(scenario)
    plan = make_plan(scenario, route, build_demand(scenario, route))
    return plan_document(scenario, route, plan)


@pytest.fixture
def saved(tmp_path: Path) -> Callable[[str, object], Path]:
    def save(name: str, document: object) -> Path:
        path = tmp_path / f"{name}.json"
        path.write_text(json.dumps(document), encoding="utf-8")
        return path

    return save


Save = Callable[[str, object], Path]


def shown(old: Path, new: Path) -> str:
    console = Console(width=80, record=True, file=io.StringIO())
    console.print(render_changes(read_revision(old), read_revision(new), UNIT_SYSTEMS["metric"]))
    return console.export_text()


def test_a_plan_is_as_it_was(document: dict[str, Any], saved: Save) -> None:
    path = saved("old", document)
    text = shown(path, path)
    assert "1 stop as before" in text
    assert "before," not in text


def test_a_stop_moved_later_with_more_water_is_told(document: dict[str, Any], saved: Save) -> None:
    new = copy.deepcopy(document)
    mill = new["stops"][1]
    mill["arrive_s"] += 600
    mill["leave_s"] += 840
    mill["water_taken_kg"] += 99.9
    new["finish"]["clock_s"] += 840
    new["money"] = 12.5
    text = shown(saved("old", document), saved("new", new))
    words = " ".join(text.split())
    for told in ("[red]Mill", "10 min later", "stays 4 min longer", "100 L of water more"):
        assert all(word in words for word in told.split())
    assert "Arrive: 08:50 before, 09:04 now (14 min later)" in text
    assert "To pay: 0.00 USD before, 12.50 USD now" in text
    assert max(map(len, text.splitlines())) <= 80


def test_stops_added_and_dropped_are_told(document: dict[str, Any], saved: Save) -> None:
    new = copy.deepcopy(document)
    new["stops"][1] |= {"name": "Pond", "distance_m": 6000.0}
    old, now = saved("old", document), saved("new", new)
    changes = compare_stops(read_revision(old), read_revision(now))
    assert [(c.old is None, c.new is None) for c in changes] == [(False, True), (True, False)]
    text = shown(old, now)
    assert "dropped" in text
    assert "added" in text


def test_a_place_passed_twice_is_compared_pass_by_pass(
    document: dict[str, Any], saved: Save
) -> None:
    again = copy.deepcopy(document["stops"][1]) | {"distance_m": 8000.0}
    new = copy.deepcopy(document)
    new["stops"].insert(2, again)
    changes = compare_stops(read_revision(saved("a", document)), read_revision(saved("b", new)))
    assert [c.old is not None for c in changes] == [True, False]


def test_the_next_version_of_the_format_is_read_too(document: dict[str, Any], saved: Save) -> None:
    new = copy.deepcopy(document)
    new["schema"]["version"] = 2
    new["days"] = [{}, {}]
    assert read_revision(saved("new", new)).days == 2
    assert "Days: 1 before, 2 now" in shown(saved("old", document), saved("new", new))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda d: d.pop("money"), "money: missing; give a number"),
        (lambda d: d["stops"][1].update(arrive_s="noon"), r"stops\[1\].arrive_s: 'noon' is not"),
        (lambda d: d["schema"].update(version=9), "version 9; versions 1 and 2 are read"),
        (lambda d: d["schema"].update(name="other"), "not marked as haulplan-plan"),
        (lambda d: d.update(stops=[]), "no start and finish"),
        (lambda d: d.update(title=True), "title: True is not text"),
    ],
)
def test_a_file_that_is_no_plan_is_refused(
    document: dict[str, Any], saved: Save, change: Callable[[Toml], object], told: str
) -> None:
    change(document)
    with pytest.raises(InputError, match=told):
        read_revision(saved("bad", document))


@pytest.mark.parametrize("text", ["", "[1]", "{", '{"a": NaN', "\udcff"])
def test_what_is_no_json_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "bad.json"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(InputError, match=r"bad\.json"):
        read_revision(path)
    with pytest.raises(InputError, match="No such file"):
        read_revision(tmp_path / "none.json")


def test_the_command_compares_and_refuses(
    document: dict[str, Any], saved: Save, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(saved("old", document))
    with pytest.raises(SystemExit) as left:
        main(["changes", path, path])
    assert left.value.code == 0
    assert "as before" in capsys.readouterr().out
    with pytest.raises(SystemExit) as left:
        main(["changes", path, f"{path}.none"])
    assert left.value.code == 2
    assert "give the path of a plan.json" in capsys.readouterr().err
