"""The command line: what it prints where, what it writes, and how it ends."""

import json
import os
import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import pytest

from haulplan.cli import cli, main
from haulplan.errors import InternalError

TOP = Path(__file__).resolve().parent.parent

Toml = dict[str, Any]
Write = Callable[..., Path]

ALL = {
    "dip-strip.html", "legs.csv", "lists.html", "map.html", "plan.geojson", "plan.gpx", "plan.ics",
    "plan.json", "plan.xlsx", "profile.svg", "return-run.html", "run-sheet.html",
    "station-keeper.html", "steersman.html", "stops.csv", "support-driver.html", "tail-car.html",
}  # fmt: skip
SUPPLY = (
    "name,kind,at [km],water_available,water_rate,water_price,call_out\n"
    "Pump,tap,3,unlimited,60 L/min,0.01 USD/L,9 USD\nPond,pond,8,unlimited,20 L/min,,\n"
)


@dataclass(frozen=True)
class Ended:
    """How a command ended and what it said."""

    code: int
    out: str
    err: str


Run = Callable[..., Ended]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs the command line here."""
    monkeypatch.setenv("COLUMNS", "100")

    def go(*words: str | Path) -> Ended:
        with pytest.raises(SystemExit) as caught:
            main([str(word) for word in words])
        said = capsys.readouterr()
        return Ended(int(str(caught.value.code)), said.out, said.err)

    return go


@pytest.fixture
def steam(steam: Toml) -> Toml:
    """A steam scenario whose tank does not last."""
    steam["stores"]["tank"] = "600 L"
    return steam


@pytest.fixture
def mills(steam: Toml, road_csv: str, write: Write) -> Path:
    """A scenario with a plan."""
    return write(steam, {"route.csv": road_csv, "supply.csv": SUPPLY})


@pytest.fixture
def drawn(steam: Toml, write: Write, gpx_text: Callable[..., str]) -> Path:
    """A scenario whose road has coordinates, so that a map is drawn."""
    points = [(55 + 0.001 * i, -2.0, 100 + 10 * abs(i % 40 - 20) / 20) for i in range(80)]
    steam["route"] = {"file": "road.gpx"}
    return write(steam, {"road.gpx": gpx_text(points), "supply.csv": SUPPLY})


def only_errors(ended: Ended) -> list[str]:
    """The lines of the error stream, each marked as an error; nothing else was said."""
    assert ended.out == ""
    lines = ended.err.strip().splitlines()
    assert lines
    assert all(line.startswith("error: ") for line in lines)
    assert "Traceback" not in ended.err
    return [line.removeprefix("error: ") for line in lines]


# --- codes ----------------------------------------------------------------------------


def test_a_plan_is_printed_and_ends_with_0(run: Run, mills: Path) -> None:
    ended = run("plan", mills)
    assert (ended.code, ended.err) == (0, "")
    for words in ("Two mills", "Upper mill", "Lower mill", "Pump", "leave  07:00", "Cautions"):
        assert words in ended.out


def test_check_says_what_was_read_and_ends_with_0(run: Run, mills: Path) -> None:
    ended = run("check", mills)
    assert (ended.code, ended.err) == (0, "")
    for words in ("Two mills", "Road 12.0 km", "Pump", "Pond", "3.0 km", "can be read"):
        assert words in ended.out


def test_no_plan_ends_with_1_and_names_stretch_and_shortfall(
    run: Run, steam: Toml, road_csv: str, write: Write
) -> None:
    steam["stores"]["tank"] = "380 L"
    folder = write(steam, {"route.csv": road_csv, "supply.csv": SUPPLY})
    ended = run("plan", folder)
    assert ended.code == 1
    line, *tried = only_errors(ended)
    assert tried
    assert only_errors(run("plan", folder, "--no-mends")) == [line]
    assert re.search(r"no plan: between .+ \([\d.]+ km\) and .+ \([\d.]+ km\) the tank", line)
    assert re.search(r"falls [\d,]+ L below its reserve\. What would mend it: ", line)


def test_a_hill_too_steep_ends_with_1(run: Run, steam: Toml, write: Write) -> None:
    steep = "distance [km],elevation [m]\n0,100\n3,100\n4,400\n8,400\n"
    for command in ("plan", "check"):
        ended = run(command, write(steam, {"route.csv": steep}))
        assert ended.code == 1
        line, odd = only_errors(ended)
        assert "hill at 3.0 km (30.0 %" in line
        assert "What would mend it" in line
        assert "grade of 30 %" in odd


def test_bad_input_ends_with_2_and_tells_all_of_it(
    run: Run, steam: Toml, road_csv: str, write: Write
) -> None:
    steam["stores"]["tank"] = "300 gal"
    folder = write(steam, {"route.csv": road_csv, "supply.csv": SUPPLY.replace("60 L", "lots L")})
    for command in ("plan", "check"):
        ended = run(command, folder)
        assert ended.code == 2
        first, second = only_errors(ended)
        assert first.startswith("scenario.toml, stores.tank: '300 gal' is not allowed; ")
        assert second.startswith("supply.csv, row 2, column water_rate: 'lots L/min' is not ")


def test_a_folder_that_is_not_there_ends_with_2(run: Run, tmp_path: Path) -> None:
    ended = run("plan", tmp_path / "nowhere")
    assert ended.code == 2
    assert "no such folder" in only_errors(ended)[0]


@pytest.mark.parametrize(
    "words",
    [
        ["plan"],
        ["pln", "."],
        ["plan", ".", "--ami", "cheapest"],
        ["plan", ".", "--aim", "cheap"],
        ["plan", ".", "--units", "furlongs"],
        ["plan", ".", "--time-limit", "0"],
        ["plan", ".", "--time-limit", "soon"],
    ],
)
def test_a_wrong_command_line_ends_with_2(words: list[str], run: Run) -> None:
    ended = run(*words)
    assert (ended.code, ended.out) == (2, "")
    assert "Traceback" not in ended.err
    assert ended.err.splitlines()[-1].startswith("error: ")


@pytest.mark.parametrize(
    ("where", "fault", "said"),
    [
        ("haulplan.replay.replay", InternalError("the plan broke the bridge"), "broke the bridge"),
        ("haulplan.plan.make_plan", InternalError("the solver failed: x"), "the solver failed: x"),
        ("haulplan.plan.make_plan", ZeroDivisionError("by nought"), "internal fault: ZeroDiv"),
        ("haulplan.outputs.charts.draw_profile", KeyError("ink"), "internal fault: KeyError"),
    ],
)
def test_a_fault_of_ours_ends_with_3_and_writes_nothing(
    where: str,
    fault: Exception,
    said: str,
    run: Run,
    mills: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr(where, fail)
    before = sorted(tmp_path.rglob("*"))
    ended = run("plan", mills, "--out", tmp_path / "out")
    assert ended.code == 3
    assert said in only_errors(ended)[0]
    assert sorted(tmp_path.rglob("*")) == before


def test_a_plan_that_its_replay_refuses_is_not_printed(
    run: Run, mills: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The planner is made to plan for a supply twice as quick as the one there."""
    from haulplan.plan import reading

    offers = reading.read_offers

    def rich(*arguments: Any) -> Any:  # noqa: ANN401  whatever the planner passes
        from dataclasses import replace

        found = offers(*arguments)
        return {n: replace(o, water_rate=2 * o.water_rate) for n, o in found.items()}

    monkeypatch.setattr("haulplan.plan.solve.read_offers", rich)
    ended = run("plan", mills)
    assert ended.code == 3
    assert "did not survive its replay" in only_errors(ended)[0]
    assert "time at P" in only_errors(ended)[0]


@pytest.mark.parametrize(
    "where",
    ["haulplan.scenario.read_scenario", "haulplan.plan.make_plan", "haulplan.outputs.all_outputs"],
)
def test_an_interruption_ends_with_130_and_writes_nothing(
    where: str, run: Run, mills: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(where, stop)
    before = sorted(tmp_path.rglob("*"))
    ended = run("plan", mills, "--out", tmp_path / "out")
    assert ended.code == 130
    assert only_errors(ended) == ["interrupted; nothing was written"]
    assert sorted(tmp_path.rglob("*")) == before


def test_an_interruption_while_writing_leaves_the_old_plan(
    run: Run, mills: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    assert run("plan", mills, "--out", out).code == 0
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    assert run("plan", mills, "--out", out, "--force").code == 130
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before


def test_the_traceback_is_shown_only_when_asked_for(
    run: Run, mills: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr("haulplan.plan.make_plan", fail)
    assert "Traceback" not in run("plan", mills).err
    ended = run("plan", mills, "--debug")
    assert ended.code == 3
    assert "Traceback" in ended.err
    assert "error: internal fault: ZeroDivisionError: by nought" in ended.err


# --- help -----------------------------------------------------------------------------


def test_help_names_every_command(run: Run) -> None:
    ended = run("--help")
    assert ended.code == 0
    for name in cli.commands:
        assert re.search(rf"^  {name} ", ended.out, re.MULTILINE)
    assert "Example:" in ended.out


@pytest.mark.parametrize("name", sorted(cli.commands))
@pytest.mark.parametrize("flag", ["-h", "--help"])
def test_help_of_every_command_has_an_example_and_every_option(
    name: str, flag: str, run: Run
) -> None:
    ended = run(name, flag)
    assert (ended.code, ended.err) == (0, "")
    assert re.search(rf"^  Example:\n +haulplan {name}( |$)", ended.out, re.MULTILINE)
    for option in cli.commands[name].params:
        if isinstance(option, click.Option):
            assert option.help
            assert max(option.opts, key=len) in ended.out
            for choice in getattr(option.type, "choices", ()):
                assert str(choice) in ended.out
        else:
            assert str(option.name).upper() in ended.out


def test_the_version_is_told(run: Run) -> None:
    from haulplan import __version__

    ended = run("--version")
    assert ended.code == 0
    assert __version__ in ended.out


# --- options --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("units", "labels"),
    [
        ("us", (" mi", "US gal", " lb", "short ton")),
        ("imperial", (" mi", "imp gal", " lb", "long ton")),
        ("metric", (" km", " L", " kg", " t")),
    ],
)
def test_every_figure_is_shown_in_the_units_asked_for(
    units: str, labels: tuple[str, ...], run: Run, mills: Path, tmp_path: Path
) -> None:
    plan = run("plan", mills, "--units", units, "--out", tmp_path / "out")
    check = run("check", mills, "--units", units)
    assert (plan.code, check.code) == (0, 0)
    for label in labels:
        assert label in plan.out
        assert label in check.out
    header = (tmp_path / "out" / "stops.csv").read_text().splitlines()[0]
    assert labels[1].strip() in header
    others = {"US gal", "imp gal", "short ton", "long ton"} - set(labels)
    told = check.out.partition("As its source has it")[0]  # defaults keep their sources' units
    for label in others:
        assert label not in plan.out + told + header


def test_the_scenarios_own_units_are_shown_by_default(
    run: Run, steam: Toml, road_csv: str, write: Write
) -> None:
    steam["units"] = "imperial"
    folder = write(steam, {"route.csv": road_csv, "supply.csv": SUPPLY})
    assert "imp gal" in run("plan", folder).out


@pytest.mark.parametrize("aim", ["earliest", "cheapest", "fewest-stops"])
def test_each_aim_is_planned_for(aim: str, run: Run, mills: Path) -> None:
    ended = run("plan", mills, "--aim", aim)
    assert ended.code == 0
    assert f"Aim: {aim.replace('-', ' ')}" in ended.out
    assert ("Pump" in ended.out) is (aim == "earliest")  # quick but dear


def test_weights_are_planned_for_where_the_scenario_has_them(
    run: Run, steam: Toml, road_csv: str, write: Write
) -> None:
    tables = {"route.csv": road_csv, "supply.csv": SUPPLY}
    ended = run("plan", write(steam, tables, name="without"), "--aim", "weighted")
    assert ended.code == 2
    assert "give minute, money and stop in [aim]" in only_errors(ended)[0]
    steam["aim"] = {"minute": 1, "money": 100}
    ended = run("plan", write(steam, tables, name="with"), "--aim", "weighted")
    assert ended.code == 0
    assert "Aim: weighted" in ended.out
    assert "Pump" not in ended.out


def test_a_time_limit_is_taken(run: Run, mills: Path) -> None:
    ended = run("plan", mills, "--time-limit", "30")
    assert ended.code == 0
    assert "proved best" in ended.out


def test_verbose_prints_every_assumption(run: Run, mills: Path) -> None:
    brief, verbose = run("plan", mills), run("plan", mills, "--verbose")
    assert "diagram factor" not in brief.out
    assert "diagram factor" in verbose.out


# --- files ----------------------------------------------------------------------------


def test_out_writes_every_file(run: Run, drawn: Path, tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    ended = run("plan", drawn, "--out", out)
    assert (ended.code, ended.err) == (0, "")
    assert {path.name for path in out.iterdir()} == ALL
    assert f"Written to {out}" in ended.out.replace("\n", "")
    assert json.loads((out / "plan.json").read_text())["title"] == "Two mills"


def test_a_road_without_coordinates_has_no_map(run: Run, mills: Path, tmp_path: Path) -> None:
    ended = run("plan", mills, "--out", tmp_path / "out")
    assert {path.name for path in (tmp_path / "out").iterdir()} == ALL - {
        "map.html",
        "plan.geojson",
        "plan.gpx",
    }
    assert "no map" in ended.out


def test_out_refuses_to_overwrite_unless_forced(run: Run, mills: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run("plan", mills, "--out", out).code == 0
    (out / "stops.csv").write_text("mine")
    ended = run("plan", mills, "--out", out)
    assert ended.code == 2
    (line,) = only_errors(ended)
    assert "already exists" in line
    assert "--force" in line
    assert (out / "stops.csv").read_text() == "mine"
    assert run("plan", mills, "--out", out, "--force").code == 0
    assert "Lower mill" in (out / "stops.csv").read_text()


def test_force_does_not_replace_a_folder_of_other_things(
    run: Run, mills: Path, tmp_path: Path
) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letters.txt").write_text("mine")
    ended = run("plan", mills, "--out", tmp_path / "out", "--force")
    assert ended.code == 2
    assert "letters.txt" in only_errors(ended)[0]
    assert (tmp_path / "out" / "letters.txt").read_text() == "mine"


def test_no_plan_writes_nothing(
    run: Run, steam: Toml, road_csv: str, write: Write, tmp_path: Path
) -> None:
    steam["stores"]["tank"] = "400 L"
    folder = write(steam, {"route.csv": road_csv})
    assert run("plan", folder, "--out", tmp_path / "out").code == 1
    assert not (tmp_path / "out").exists()


# --- names, places --------------------------------------------------------------------

HOSTILE = "Tap[bold]\u202eevil\u2066 {0} %s $(touch x)"


def test_names_never_steer_the_terminal(run: Run, steam: Toml, road_csv: str, write: Write) -> None:
    supply = SUPPLY.replace("Pump", f'"{HOSTILE}"')
    ended = run("plan", write(steam, {"route.csv": road_csv, "supply.csv": supply}))
    assert ended.code == 0
    assert "Tap[bold]" in ended.out
    assert all(letter.isprintable() or letter == "\n" for letter in ended.out)


@pytest.mark.parametrize("escape", ["\x1b[31m", "\x9b31m", "\x07", "\x1b]0;title\x07"])
def test_escapes_in_input_never_reach_the_terminal(
    escape: str, run: Run, steam: Toml, road_csv: str, write: Write
) -> None:
    bad = SUPPLY.replace("Pump", f"Pump{escape}").replace("kind", f"kind{escape}", 1)
    for name, tables in {
        "cell": {"supply.csv": SUPPLY.replace("Pump", f"Pump{escape}")},
        "column": {"supply.csv": bad},
        "unit": {"supply.csv": SUPPLY.replace("60 L/min", f"60 L{escape}")},
    }.items():
        ended = run("plan", write(steam, {"route.csv": road_csv, **tables}, name=name))
        assert ended.code == 2
        assert all(line.isprintable() for line in only_errors(ended))
    steam["title"] = f"Mills{escape}"
    ended = run("check", write(steam, {"route.csv": road_csv}, name="title"))
    assert all(line.isprintable() for line in only_errors(ended))


def test_a_track_named_to_steer_the_terminal_does_not(
    run: Run, steam: Toml, write: Write, gpx_text: Callable[..., str]
) -> None:
    points = [(55 + 0.001 * i, -2.0, 100.0 + i) for i in range(20)]
    steam["route"] = {"file": "road.gpx", "track": "other"}
    gpx = gpx_text(points, name="a\u202eb&#x85;c&#x9b;31m")
    ended = run("check", write(steam, {"road.gpx": gpx}))
    assert ended.code == 2
    assert all(line.isprintable() for line in only_errors(ended))


def test_spaces_and_brackets_in_paths_are_no_matter(
    run: Run, steam: Toml, road_csv: str, write: Write, tmp_path: Path
) -> None:
    tables = {"route.csv": road_csv, "supply.csv": SUPPLY}
    folder = write(steam, tables, name="two mills [red] & more")
    ended = run("plan", folder, "--out", tmp_path / "my [bold] plan")
    assert ended.code == 0
    assert (tmp_path / "my [bold] plan" / "plan.json").exists()
    assert "my [bold] plan" in ended.out.replace("\n", "")


def test_it_runs_as_a_module_from_any_folder(mills: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "else where"
    elsewhere.mkdir()
    relative = Path("..") / mills.name
    done = subprocess.run(
        [sys.executable, "-m", "haulplan", "plan", str(relative), "--out", "plan"],
        cwd=elsewhere, capture_output=True, text=True, check=False, timeout=60,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert "Two mills" in done.stdout
    assert (elsewhere / "plan" / "plan.json").exists()
    assert sorted(path.name for path in mills.iterdir()) == [
        "route.csv", "scenario.toml", "supply.csv",
    ]  # fmt: skip


def test_the_shipped_scenario_checks(run: Run) -> None:
    for folder in sorted((Path(__file__).parents[1] / "scenarios").iterdir()):
        if (folder / "scenario.toml").exists():
            chosen = folder / "route.gpx"  # else `ways` chooses one; tests of ways do
            assert not chosen.exists() or run("check", folder).code == 0


def test_ctrl_c_ends_a_long_search_and_writes_nothing(tmp_path: Path) -> None:
    """A search of minutes, interrupted in its midst: exit 130, soon, and no folder."""
    draw = random.Random(3)
    folder = tmp_path / "long"
    folder.mkdir()
    (folder / "scenario.toml").write_text(
        'title = "long"\nstart = "A"\nfinish = "B"\ndate = 2027-05-01\ndepart = "01:00"\n'
        '[aim]\nminute = 1\nmoney = 0.7\nstop = 3\n[stores]\ntank = "2450 kg"\n'
        'bunker = "600 kg"\n[at_start]\nwater = "full"\ncoal = "full"\n[at_finish]\n'
        'water = "300 kg"\ncoal = "60 kg"\n[reserve]\nwater = "200 kg"\ncoal = "40 kg"\n'
    )
    rows = ["from [km],to [km],duration [min],water [kg],coal [kg],water_per_mass,coal_per_mass"]
    for i in range(900):
        water = draw.uniform(20, 120)
        rows.append(f"{i},{i + 1},{draw.uniform(8, 14)},{water},{water / 7},0.0004,0.00006")
    (folder / "demand.csv").write_text("\n".join(rows) + "\n")
    rows = ["name,kind,at [km],water_available,water_rate,coal_available,coal_rate,set_up"]
    for i in range(300):
        coal = "unlimited,20 kg/min" if i % 8 == 0 else ","
        rows.append(
            f"t{i},tap,{3 * i + 1.5},{draw.choice(['unlimited', '900 kg'])},"
            f"{draw.uniform(40, 150):.1f} kg/min,{coal},{draw.uniform(4, 15):.1f} min"
        )
    (folder / "supply.csv").write_text("\n".join(rows) + "\n")
    out = tmp_path / "out"
    with subprocess.Popen(
        [sys.executable, "-m", "haulplan", "plan", str(folder), "--out", str(out)],
        cwd=TOP, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as running:  # fmt: skip
        time.sleep(6)
        assert running.poll() is None
        running.send_signal(signal.SIGINT)
        said, complaint = running.communicate(timeout=30)
    assert (running.returncode, said) == (130, "")
    assert complaint.splitlines()[-1] == "error: interrupted; nothing was written"
    assert not out.exists()
