"""The commands for a crew on the road."""

import tempfile
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from one_day import one_day

from haulplan.cli import cli, main

TOP = Path(__file__).parents[1]
DEMO = one_day(TOP / "scenarios" / "hobmere-penniford", Path(tempfile.mkdtemp()))
TWO_DAYS = TOP / "scenarios" / "hobmere-penniford"
LOG = """time,miles,dip,filled to,bags [50 lb],crew
07:00,0,full,,,Nan
08:25,6.8,45 %,full,4,
09:40,11.2,55 %,full,3,
11:00,15.1,50 %,,3,
"""


@cache
def two_days_plan() -> Path:
    """The plan of the shipped run of two days."""
    folder = Path(tempfile.mkdtemp()) / "plan"
    assert run("plan", TWO_DAYS, "--out", folder)[0] == 0
    return folder / "plan.json"


@cache
def plan_file() -> Path:
    """The plan of the haul of one day."""
    folder = Path(tempfile.mkdtemp()) / "plan"
    assert run("plan", DEMO, "--out", folder)[0] == 0
    return folder / "plan.json"


def run(*words: str | Path) -> tuple[int, str]:
    done = CliRunner().invoke(cli, [str(word) for word in words], env={"COLUMNS": "80"})
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.output


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    target = tmp_path / "copy"
    target.mkdir()
    for file in DEMO.iterdir():
        if file.is_file():
            (target / file.name).write_bytes(file.read_bytes())
    return target


def test_revise_leads_with_the_order_and_keeps_to_80_columns() -> None:
    code, text = run(
        "revise",
        DEMO,
        "--at",
        "11.2 mi",
        "--time",
        "10:40",
        "--water",
        "1/3",
        "--plan",
        plan_file(),
    )
    lines = text.splitlines()
    assert code == 0
    assert lines[1] == "At 11.2 mi, 10:40: tank 107 US gal (33 %), bunker 242 lb"
    assert lines[4].startswith(("GO ON", "TURN BACK", "STAND"))
    assert "last point to turn back" in text
    assert max(len(line.rstrip()) for line in lines) <= 80


def test_revise_with_no_way_on_or_back_ends_with_1() -> None:
    code, text = run(
        "revise", DEMO, "--at", "16.5 mi", "--water", "2 US gal", "--plan", plan_file()
    )
    assert code == 1
    assert "STAND WHERE YOU ARE" in text


def test_revise_names_what_it_cannot_read(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(
            ["revise", str(DEMO), "--at", "9 mi", "--water", "100 gal", "--plan", str(plan_file())]
        )
    assert ended.value.code == 2
    assert "error: --water: '100 gal'; a bare gallon is ambiguous" in capsys.readouterr().err


def test_learn_shows_and_keeps_the_factors_and_the_plan_uses_them(
    folder: Path, tmp_path: Path
) -> None:
    log = tmp_path / "log.csv"
    log.write_text(LOG, "utf-8")
    before = (folder / "scenario.toml").read_text("utf-8")
    code, text = run("learn", folder, log, "--write")
    assert code == 0
    assert "Water, recorded beside reckoned" in text
    assert "factor on the model" in text
    assert "Written to" in text
    after = (folder / "scenario.toml").read_text("utf-8")
    assert "water_factor = { typical = " in after
    assert [line for line in after.splitlines() if "_factor" not in line] == before.splitlines()
    code, text = run("plan", folder, "--verbose")
    assert code == 0
    assert "water factor: " in text


def test_learn_writes_a_log_to_fill_in(tmp_path: Path, folder: Path) -> None:
    file = tmp_path / "empty.csv"
    code, text = run("learn", folder, "--template", file)
    assert code == 0
    assert file.read_text("utf-8").startswith("date,place,time,distance [mi],dip [US gal]")
    assert "Old fulling" in text
    assert max(len(line.rstrip()) for line in text.splitlines()[:-1]) <= 80


@pytest.mark.parametrize("words", [(), ("a.csv", "--template", "b.csv")])
def test_learn_wants_logs_or_a_template(words: tuple[str, ...]) -> None:
    code, text = run("learn", DEMO, *words)
    assert code == 2
    assert "give logs, or --template" in text


def test_drill_prints_and_writes_the_table(tmp_path: Path) -> None:
    code, text = run("drill", DEMO, "--out", tmp_path / "drills")
    assert code == 0
    for word in ("shut", "one feed out", "coal poor", "road wet", "an hour lost", "no cart"):
        assert word in " ".join(text.split())
    rows = (tmp_path / "drills" / "drills.csv").read_text("utf-8").splitlines()
    assert rows[0].startswith("if,seen at [mi],arrive,later [min],least in tank [US gal],then")
    assert len(rows) == 9
    sheet = (tmp_path / "drills" / "drills.html").read_text("utf-8")
    assert "turn back to Old fulling mill pond" in sheet
    assert "http" not in sheet
    assert max(len(line.rstrip()) for line in text.splitlines()[:-1]) <= 80


def test_phone_writes_one_page(tmp_path: Path) -> None:
    code, _ = run("phone", DEMO, "--out", tmp_path / "page")
    assert code == 0
    assert [path.name for path in (tmp_path / "page").iterdir()] == ["phone.html"]
    code, _ = run("phone", DEMO, "--out", tmp_path / "page", "--force")
    assert code == 0


@pytest.mark.parametrize(
    ("words", "read", "day", "told", "row"),
    [
        (
            ("--at", "6.3 mi", "--time", "12:30"),
            "At 6.3 mi, leaving, 12:30: tank 162 US gal (51 %), bunker 406 lb",
            "Day 1 of the run, Saturday 2027-05-22: wheels may turn until 20:42",
            "next: Stonebreakers' cistern, at 8.2 mi, there 12:53",
            "12.9 Highfold Farm tanks 14:24 06:25 +1 d",
        ),
        (
            ("--at", "12.9 mi", "--time", "14:40"),
            "At 12.9 mi, 14:40: tank 48 US gal (15 %), bunker 551 lb",
            "Day 1 of the run, Saturday 2027-05-22: wheels may turn until 20:42",
            "the night: Highfold Farm tanks, bank the fire",
            "12.9 Highfold Farm tanks 14:40 06:25 +1 d",
        ),
        (
            ("--at", "12.9 mi", "--time", "06:20"),
            "At 12.9 mi, leaving, 06:20 +1 d: tank 249 US gal (78 %), bunker 485 lb",
            "Day 2 of the run, Sunday 2027-05-23: wheels may turn until 20:42",
            "the finish is reached when planned",
            "19.4 Penniford showground 08:27 +1 d",
        ),
        (
            ("--at", "15.1 mi", "--time", "07:20"),
            "At 15.1 mi, 07:20 +1 d: tank 184 US gal (57 %), bunker 392 lb",
            "Day 2 of the run, Sunday 2027-05-23: wheels may turn until 20:42",
            "the finish is reached 22 min later than planned",
            "19.4 Penniford showground 08:49 +1 d",
        ),
        (
            (
                "--at",
                "18 mi",
            ),
            "At 18.0 mi, 08:11 +1 d: tank 121 US gal (38 %), bunker 262 lb",
            "Day 2 of the run, Sunday 2027-05-23: wheels may turn until 20:42",
            "the finish is reached when planned",
            "19.4 Penniford showground 08:27 +1 d",
        ),
    ],
)
def test_a_run_of_two_days_is_revised_by_the_clock_of_the_day(
    words: tuple[str, ...], read: str, day: str, told: str, row: str
) -> None:
    code, text = run("revise", TWO_DAYS, *words, "--plan", two_days_plan())
    lines = text.splitlines()
    assert code == 0
    assert lines[1:3] == [read, day]
    assert lines[5] == "GO ON"
    plain = " ".join(text.split())
    assert told in plain
    assert row in plain


def test_a_crew_over_its_hours_is_told_by_how_much() -> None:
    words = ("--at", "18 mi", "--time", "18:20", "--plan", two_days_plan())
    code, text = run("revise", TWO_DAYS, *words)
    plain = " ".join(text.split())
    assert code == 0
    assert "GO ON, OVER THE HOURS: no way keeps them with water and coal" in plain
    # lit at 05:35, ten hours: 15:35; the finish is 15 minutes on
    assert "the crew is 181 min over its hours on day 2" in plain
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 80
