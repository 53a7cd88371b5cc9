"""`haulplan begin` at the terminal: questions, answers, and a folder whole or not at all."""

import importlib
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from haulplan.cli import cli, main
from haulplan.scenario import read_scenario
from haulplan.scenario.classes import engine_classes

ROAD = "distance [mi],elevation [m]\n0,100\n2,120\n5,110\n"


@pytest.fixture
def road(tmp_path: Path) -> Path:
    """A road of five miles."""
    path = tmp_path / "club.csv"
    path.write_text(ROAD, "utf-8")
    return path


def ended(capsys: pytest.CaptureFixture[str], *words: str | Path) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as caught:
        main([str(word) for word in words])
    said = capsys.readouterr()
    return int(str(caught.value.code)), said.out, said.err


def test_the_written_folder_checks_and_plans(
    road: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "my run"
    words = ("begin", folder, "--track", road, "--engine", "steam-wagon")
    code, out, err = ended(capsys, *words)
    assert (code, err) == (0, "")
    assert "It plans: leave 08:00, no stop" in out
    assert f"\n  haulplan check '{folder}'\n" in out
    for name in ("check", "plan"):
        assert ended(capsys, name, folder)[0] == 0


def test_supplies_nobody_found_are_unconfirmed_in_the_plan(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    road = tmp_path / "long.csv"
    road.write_text("distance [mi],elevation [m]\n0,100\n25,120\n", "utf-8")
    words = ("begin", tmp_path / "run", "--track", road, "--engine", "farm-engine-110")
    assert ended(capsys, *words)[0] == 0
    code, out, _ = ended(capsys, "plan", tmp_path / "run", "--out", tmp_path / "plan")
    assert code == 0
    assert re.search(r"TO REPLACE: water[^\n]* never confirmed", " ".join(out.split()))
    sheet = (tmp_path / "plan" / "run-sheet.html").read_text("utf-8")
    assert "UNCONFIRMED" in sheet
    assert "TO REPLACE: find water" in sheet


def test_a_folder_that_is_there_is_left_alone(
    road: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "run"
    words = ("begin", folder, "--track", road, "--engine", "steam-wagon")
    assert ended(capsys, *words)[0] == 0
    kept = (folder / "scenario.toml").read_bytes()
    code, _, err = ended(capsys, *words, "--title", "Other")
    assert code == 2
    assert "already exists; give another FOLDER or --force" in err
    assert (folder / "scenario.toml").read_bytes() == kept
    (folder / "places.csv").write_text("name,at\nA,1 mi\n", "utf-8")  # one of begin's names
    assert ended(capsys, *words, "--title", "Other", "--force")[0] == 0
    assert read_scenario(folder).file.title == "Other"
    assert not (folder / "places.csv").exists()
    (folder / "notes.txt").write_text("ours", "utf-8")
    code, _, err = ended(capsys, *words, "--force")
    assert code == 2
    assert "notes.txt" in err
    assert (folder / "notes.txt").exists()


def test_bad_input_writes_nothing(
    road: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("begin", tmp_path / "run", "--track", road, "--engine", "steem-wagon")
    code, out, err = ended(capsys, *words)
    assert (code, out) == (2, "")
    assert "did you mean 'steam-wagon'?" in err
    assert not (tmp_path / "run").exists()


def test_a_run_without_a_plan_is_written_and_says_why(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    road = tmp_path / "hill.csv"
    road.write_text("distance [km],elevation [m]\n0,0\n1,0\n2,300\n3,300\n", "utf-8")
    words = ("begin", tmp_path / "run", "--track", road, "--engine", "road-roller")
    code, out, err = ended(capsys, *words)
    assert code == 1
    assert "It does not plan yet" in out
    assert err.startswith("error: the hill at")
    assert read_scenario(tmp_path / "run").file.title == "hill"


# --- questions ------------------------------------------------------------------------


def answered(folder: Path, answers: str, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["begin", str(folder), *words], input=answers)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.output


@pytest.fixture
def at_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Takes what is piped in for a keyboard."""
    module = importlib.import_module("haulplan.cli.begin")  # the package shows the command
    monkeypatch.setattr(module, "_at_terminal", lambda: True)


@pytest.mark.usefixtures("at_terminal")
def test_what_was_not_said_is_asked(road: Path, tmp_path: Path) -> None:
    number = list(engine_classes()).index("steam-wagon") + 1
    answers = (
        "", "nowhere.gpx", road, "", "steem-wagon", number, "3 tons", "3 t", "", "400 lb",
        "2027-02-30", "2027-05-22", "metric", "",
    )  # fmt: skip
    code, out = answered(tmp_path / "run", "\n".join(map(str, answers)))
    assert code == 0
    for words in (
        "no usual answer", "no file 'nowhere.gpx'", "did you mean 'steam-wagon'?",
        "a bare ton is ambiguous",
        "Enter: usual for the class, 140 imp gal", "write year-month-day",
    ):  # fmt: skip
        assert words in out
    assert out.count("small-tractor: Small tractor") == 1  # choices are shown once
    file = read_scenario(tmp_path / "run").file
    assert file.engine is not None
    assert (file.engine.kind, str(file.date), file.units) == ("steam-wagon", "2027-05-22", "metric")
    text = (tmp_path / "run" / "scenario.toml").read_text("utf-8")
    assert re.search(r"tank = .*# TO REPLACE: usual for the class", text)
    assert re.search(r'bunker = "400 lb" *# you said so', text)


@pytest.mark.usefixtures("at_terminal")
def test_only_what_was_not_said_is_asked(road: Path, tmp_path: Path) -> None:
    said = ("--track", str(road), "--engine", "steam-wagon", "--train", "none", "--units", "us",
            "--tank", "150 US gal", "--bunker", "500 lb")  # fmt: skip
    code, out = answered(tmp_path / "run", "\n", *said)
    assert code == 0
    assert out.count("Day of the run") == 1
    assert "Engine class" not in out


@pytest.mark.usefixtures("at_terminal")
def test_no_questions_asks_nothing(road: Path, tmp_path: Path) -> None:
    said = ("--track", str(road), "--engine", "steam-wagon", "--no-questions")
    assert answered(tmp_path / "run", "", *said)[0] == 0


def test_nothing_is_asked_without_a_keyboard(road: Path, tmp_path: Path) -> None:
    said = ("--track", str(road), "--engine", "steam-wagon")
    assert answered(tmp_path / "run", "", *said)[0] == 0


@pytest.mark.usefixtures("at_terminal")
def test_a_closed_keyboard_writes_nothing(road: Path, tmp_path: Path) -> None:
    code, _ = answered(tmp_path / "run", "", "--track", str(road))
    assert code == 1  # click's own; `main` makes it 130
    assert not (tmp_path / "run").exists()


def test_help_names_every_class(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = ended(capsys, "begin", "--help")
    assert code == 0
    listed = out.partition("Engine classes:")[2].partition("Example:")[0].split()
    assert listed == list(engine_classes())
    assert max(map(len, out.splitlines())) <= 80
