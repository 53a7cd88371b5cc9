"""`haulplan reconstruct`: what it prints, writes and refuses."""

import csv
import io
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
import refresh

from haulplan.cli import main
from haulplan.outputs.history import history_outputs
from haulplan.outputs.write import write_folders
from haulplan.period import Reconstruction, reconstruct
from haulplan.period.defaults import check_record
from haulplan.period.record import read_record
from haulplan.units import UNIT_SYSTEMS

TOP = Path(__file__).resolve().parent.parent
DEMO = TOP / "scenarios" / "sallow-flat-1907" / "record.toml"

RECORD = """
title = "<script>alert(1)</script> & Sons"
source = "=HYPERLINK('x') Herald"
year = 1898
country = "uk"
wording = "twelve tons <b>of slate</b>"
not_stated = ["<i>surface</i>"]
[engine]
kind = "road-locomotive-steel"
nominal_power = "8 nhp"
[train]
load = "12 tons"
[way]
distance = "8 miles"
distance_is = "one way"
back = "none"
[use]
coal = "4 cwt"
coal_was = "burnt"
water = "260 gallons"
[totals]
days = 10
tons = 120
tons_per_day = "13.0"
"""


def run(*words: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(words))
    return int(str(caught.value.code))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "record.toml"
    file.write_text(RECORD, encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Reconstruction:
    file = tmp_path_factory.mktemp("r") / "record.toml"
    file.write_text(RECORD, encoding="utf-8")
    return reconstruct(read_record(file, check=check_record), count=3000, seed=1)


def test_it_prints_and_writes_everything(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, stages = tmp_path / "out", tmp_path / "run"
    code = run("reconstruct", str(path), "--draws", "3000", "--out", str(out), "--run", str(stages))
    printed = capsys.readouterr().out
    assert code == 0
    for words in ("Readings, weight in per cent", "Beside published cases", "A likely run",
                  "Words that mislead", "average against totals", "13.0"):  # fmt: skip
        assert words in printed
    names = {file.name for file in out.iterdir()}
    assert {"report.html", "readings.csv", "ranges.csv", "implied.csv", "cases.csv",
            "assumptions.csv", "oddities.csv", "stages.csv", "runs.csv", "road_states.csv",
            "readings.svg", "ranges.svg", "cases.svg", "record.toml"} <= names  # fmt: skip
    assert (stages / "day-1" / "scenario.toml").exists()
    assert run("plan", str(stages / "day-1")) == 0


def test_the_same_seed_writes_the_same_files(path: Path, tmp_path: Path) -> None:
    folders = []
    for name in ("one", "two"):
        folder = tmp_path / name
        words = ["reconstruct", str(path), "--draws", "2000", "--no-plan", "--out", str(folder)]
        assert run(*words) == 0
        folders.append({f.name: f.read_text(encoding="utf-8") for f in folder.iterdir()})
    assert folders[0] == folders[1]


def test_nothing_a_user_wrote_is_markup(found: Reconstruction) -> None:
    files = history_outputs(found, UNIT_SYSTEMS["imperial"])
    page = files["report.html"]
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; Sons" in page
    assert "&lt;b&gt;of slate&lt;/b&gt;" in page
    assert "&lt;i&gt;surface" in page
    for name, text in files.items():
        if name.endswith(".csv"):
            for row in csv.reader(io.StringIO(text)):
                assert not any(cell.startswith("=") for cell in row), name
        if name.endswith(".svg"):
            assert ET.fromstring(text).tag.endswith("svg")


def test_the_page_asks_nothing_of_the_network(found: Reconstruction) -> None:
    page = history_outputs(found, UNIT_SYSTEMS["us"])["report.html"]
    links = re.findall(r"(?:src|href)\s*=|url\(|@import", page)
    assert links == []
    assert 'lang="en"' in page


def test_the_page_says_how_to_reckon_it_again(found: Reconstruction) -> None:
    page = history_outputs(found, UNIT_SYSTEMS["us"])["report.html"]
    assert "--draws 3000 --seed 1" in page
    assert "numpy" in page
    for status in ("stated", "derived", "class default", "guess"):
        assert f"<td>{status}</td>" in page


def test_nominal_power_is_told_and_never_reckoned_with(
    found: Reconstruction, tmp_path: Path
) -> None:
    assert any("a size, not a power" in note for note in found.traps)
    other = tmp_path / "record.toml"
    other.write_text(RECORD.replace("8 nhp", "800 nhp"), encoding="utf-8")
    again = reconstruct(read_record(other, check=check_record), count=3000, seed=1, planned=False)
    assert again.missing == found.missing


@pytest.mark.parametrize("units", ["us", "imperial", "metric"])
def test_units_change_labels_and_not_the_trip(found: Reconstruction, units: str) -> None:
    files = history_outputs(found, UNIT_SYSTEMS[units])
    rows = {r["figure"]: r for r in csv.DictReader(io.StringIO(files["ranges.csv"]))}
    system = UNIT_SYSTEMS[units]
    row = rows["coal in all"]
    assert row["unit"] == system.coal.label
    kind, true = next((k, r) for k, r in found.missing if r.name == "coal in all")
    assert kind == "coal"
    assert float(row["after 50 %"]) * system.coal.size == pytest.approx(true.after[1], rel=1e-3)


def test_a_wrong_record_gives_two_and_every_fault(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path.write_text(RECORD.replace("12 tons", "12 stones").replace("4 cwt", "4"), encoding="utf-8")
    assert run("reconstruct", str(path)) == 2
    told = capsys.readouterr().err
    assert "record.toml, train.load" in told
    assert "record.toml, use.coal" in told


def test_a_run_folder_that_is_there_is_kept(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there = tmp_path / "run"
    there.mkdir()
    (there / "mine.txt").write_text("mine", encoding="utf-8")
    words = ["reconstruct", str(path), "--draws", "1500", "--run", str(there)]
    assert run(*words) == 2
    assert "already exists" in capsys.readouterr().err
    assert [f.name for f in there.iterdir()] == ["mine.txt"]


def test_folders_appear_whole_or_not_at_all(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="plain folder name"):
        write_folders(tmp_path / "new" / "run", {"day-1": {"a": "1"}, "../day-2": {"b": "2"}})
    assert list(tmp_path.iterdir()) == []
    write_folders(tmp_path / "run", {"day-1": {"a": "1"}})
    assert (tmp_path / "run" / "day-1" / "a").read_text(encoding="utf-8") == "1"
    assert [p.name for p in tmp_path.iterdir()] == ["run"]


def test_tables_alone_are_answered_without_a_trip(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "record.toml"
    file.write_text(
        'title = "T"\nsource = "S"\nyear = 1865\ncountry = "uk"\n[[rows]]\nname = "4 hp"\n'
        'water = "360 gallons"\ncoal = "3 cwt"\n',
        encoding="utf-8",
    )
    out = tmp_path / "out"
    assert run("reconstruct", str(file), "--out", str(out)) == 0
    assert "implausible ratio" in capsys.readouterr().out
    assert (out / "report.html").exists()
    assert run("reconstruct", str(file), "--run", str(tmp_path / "x")) == 1


def test_the_shown_demo_is_the_present_one(tmp_path: Path) -> None:
    """Figures within a per cent or two: sums of many draws differ in their last digits."""
    out = tmp_path / "out"
    refresh.run(*refresh.reconstruct_words(out), "--no-plan")  # the run has tests of its own
    kept = TOP / "maps" / "sallow-flat-1907"
    planned = {"stages.csv", "runs.csv"}
    assert {f.name for f in out.iterdir()} | planned == {f.name for f in kept.iterdir()}
    for name in ("readings.csv", "ranges.csv", "cases.csv", "oddities.csv"):
        new, old = (
            list(csv.reader(io.StringIO((folder / name).read_text(encoding="utf-8"))))
            for folder in (out, kept)
        )
        assert [row[:2] for row in new] == [row[:2] for row in old], name
        for ours, theirs in zip(new, old, strict=True):
            for a, b in zip(ours, theirs, strict=True):
                assert _near(a, b), f"{name}: {a} and {b}"


def _near(a: str, b: str) -> bool:
    try:
        return float(a) == pytest.approx(float(b), rel=0.02, abs=0.2)
    except ValueError:
        return a == b


def test_the_demo_s_oddity_is_the_one_its_readme_tells() -> None:
    kept = TOP / "maps" / "sallow-flat-1907" / "oddities.csv"
    rows = list(csv.DictReader(io.StringIO(kept.read_text(encoding="utf-8"))))
    assert [row["oddity"] for row in rows] == ["average against totals"]
    readme = (DEMO.parent / "README.md").read_text(encoding="utf-8")
    assert "8.12" in readme


def test_help_shows_an_example_and_starts_quickly() -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "haulplan", "reconstruct", "--help"],
        capture_output=True, text=True, check=True, cwd=TOP,
    )  # fmt: skip
    assert "Example:" in done.stdout
    assert not re.search(r"\| +(numpy|scipy|pandas|haulplan\.period)$", done.stderr, re.MULTILINE)
