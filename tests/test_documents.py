"""README and maps/ show what the program does."""

import csv
import io
import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import click
import pytest
import refresh

from haulplan.cli import cli

TOP = Path(__file__).resolve().parent.parent
README = (TOP / "README.md").read_text(encoding="utf-8")


def test_readme_shows_the_plan_that_is_printed() -> None:
    assert refresh.plan_block() in README


def test_readme_shows_what_is_begun_from_a_track() -> None:
    assert refresh.begin_block() in README
    assert f"\n    haulplan {shlex.join(refresh.BEGIN[:-1])}\n".replace("'", '"') in README


def test_readme_counts_the_defaults() -> None:
    assert refresh.defaults_block() in README


def test_readme_says_how_the_model_stands_against_the_trials() -> None:
    assert refresh.evidence_block() in README


def test_the_packaged_comparison_is_the_present_one() -> None:
    assert refresh.RESULTS.read_text(encoding="utf-8") == refresh.results()


def test_readme_reaches_real_output_before_line_40() -> None:
    lines = README.splitlines()
    assert next(n for n, line in enumerate(lines) if line.startswith("Stops")) < 40


def test_readme_opens_with_the_job_and_two_commands() -> None:
    blocks = re.findall(r"```sh\n(.*?)\n```", README, flags=re.DOTALL)
    assert len(blocks) == 2
    assert "haulplan plan scenarios/hobmere-penniford" in blocks[0]
    assert "pytest" in blocks[1]


@pytest.mark.parametrize("block", re.findall(r"```python\n(.*?)```", README, flags=re.DOTALL))
def test_readme_python_runs(block: str, capsys: pytest.CaptureFixture[str]) -> None:
    exec(compile(block, "README.md", "exec"), {})
    assert "stops, 0% from the best" in capsys.readouterr().out


def test_readme_first_command_writes_every_file(tmp_path: Path) -> None:
    command = re.search(r"&& (haulplan plan .*)", README)
    assert command is not None
    words = shlex.split(command[1])
    words[words.index("--out") + 1] = str(tmp_path / "out")
    subprocess.run([sys.executable, "-m", *words], cwd=TOP, check=True, capture_output=True)
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names >= {"run-sheet.html", "stops.csv", "plan.json", "map.html", "plan.gpx"}


def test_every_command_and_option_is_in_readme_or_help() -> None:
    for command in cli.list_commands(click.Context(cli)):
        done = subprocess.run(
            [sys.executable, "-m", "haulplan", command, "--help"],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert "Example:" in done.stdout
        assert f"haulplan {command}" in README


@pytest.mark.parametrize("name", refresh.SCENARIOS)
def test_maps_hold_the_current_outputs(name: str, tmp_path: Path) -> None:
    refresh.run("plan", f"scenarios/{name}", "--out", str(tmp_path / name))
    for file in ("stops.csv", "legs.csv", "profile.svg", "run-sheet.html"):
        kept = (TOP / "maps" / name / file).read_text(encoding="utf-8")
        assert (tmp_path / name / file).read_text(encoding="utf-8") == kept, file
    new, old = (
        json.loads((folder / name / "plan.json").read_text(encoding="utf-8"))
        for folder in (tmp_path, TOP / "maps")
    )
    new.pop("versions"), old.pop("versions")
    assert json.dumps(new) == json.dumps(old)
    assert (TOP / "maps" / name / "map.html").stat().st_size > 100_000


@pytest.mark.parametrize("name", refresh.SCENARIOS)
def test_maps_hold_the_current_demand(name: str, tmp_path: Path) -> None:
    refresh.run("demand", f"scenarios/{name}", "--out", str(tmp_path / name))
    for file in ("stretches.csv", "hills.csv", "demand.svg"):
        kept = (TOP / "maps" / f"{name}-demand" / file).read_text(encoding="utf-8")
        assert (tmp_path / name / file).read_text(encoding="utf-8") == kept, file


@pytest.mark.parametrize("name", refresh.NETWORKS)
def test_maps_hold_the_current_ways(name: str, tmp_path: Path) -> None:
    refresh.run("ways", f"scenarios/{name}", "--out", str(tmp_path / name))
    for file in ("ways.csv", "turns.csv", "bans.csv", "route.gpx", "stops.csv"):
        kept = (TOP / "maps" / f"{name}-ways" / file).read_text(encoding="utf-8")
        assert (tmp_path / name / file).read_text(encoding="utf-8") == kept, file


@pytest.mark.parametrize("name", refresh.EVENTS)
def test_maps_hold_the_current_stations(name: str, tmp_path: Path) -> None:
    """Stations and fleet; who fills where may fall otherwise with another solver's ties."""
    refresh.run("stations", f"scenarios/{name}", "--out", str(tmp_path / name))
    kept = TOP / "maps" / name
    assert {p.name for p in kept.iterdir()} == {p.name for p in (tmp_path / name).iterdir()}
    for file, columns in (("stations.csv", 6), ("fleet.csv", 6)):
        new, old = (
            [
                row[:columns]
                for row in csv.reader(io.StringIO((folder / file).read_text(encoding="utf-8")))
            ]
            for folder in (tmp_path / name, kept)
        )
        assert new == old, file


@pytest.mark.parametrize("name", refresh.VARIANTS)
def test_maps_hold_the_current_comparison(name: str, tmp_path: Path) -> None:
    refresh.run("compare", *refresh.VARIANTS[name], "--out", str(tmp_path / name))
    for file in ("compare.csv", "compare.svg", "compare.html"):
        kept = (TOP / "maps" / name / file).read_text(encoding="utf-8")
        assert (tmp_path / name / file).read_text(encoding="utf-8") == kept, file


@pytest.mark.parametrize("file", ["README.md", "DEVELOPERS.md"])
def test_links_lead_to_files(file: str) -> None:
    text = (TOP / file).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert (TOP / target).exists(), target


@pytest.mark.parametrize("name", refresh.SCENARIOS)
def test_a_plan_called_best_is_as_good_as_its_bound(name: str) -> None:
    kept = json.loads((TOP / "maps" / name / "plan.json").read_text(encoding="utf-8"))
    kept = kept["objective"]
    assert kept["proven"]
    assert 0 <= kept["gap"] < 1e-6
