"""Every odd or hostile file is refused or accepted as it should be, in one clear line."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from guarded import watched
from hostile import SECRET, Case, cases, write_case

from haulplan.cli import main
from haulplan.errors import InputError
from haulplan.scenario.bounds import Bounds, bounds

GOOD = "UTF-8 with a mark"
CASES = {case.name: case for case in cases()}
#: Read for megabytes or seconds; here their kinds stand for them, in full in the nightly run.
_HEAVY = ("a great many elements", "table: many empty lines")
Look = Callable[[Case], tuple[int, str, str]]


@pytest.fixture
def look(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Look:
    """Checks a case under watch: exit code, what was printed, what was complained of."""
    monkeypatch.setenv("COLUMNS", "200")
    (tmp_path / "secret").write_text(SECRET)

    def go(case: Case) -> tuple[int, str, str]:
        there = str(tmp_path / "secret").encode()
        content = case.content.replace(b"/SECRET", there).replace(b"SECRET", there + b"-made")
        folder = tmp_path / "scenario"
        write_case(Case(**{**vars(case), "content": content}), folder)
        before = sorted(tmp_path.rglob("*"))
        with watched() as sight, pytest.raises(SystemExit) as ended:
            main(["check", str(folder)])
        said = capsys.readouterr()
        assert sight.outside(folder) == []
        assert sight.calls() == []
        assert sorted(tmp_path.rglob("*")) == before
        assert SECRET not in said.out + said.err
        return int(str(ended.value.code)), said.out, said.err

    return go


def test_the_names_of_the_cases_differ() -> None:
    assert len(CASES) == len(cases())


@pytest.mark.parametrize("name", [name for name in CASES if name not in _HEAVY])
def test_a_hostile_file_is_refused_or_accepted_as_it_should_be(name: str, look: Look) -> None:
    case = CASES[name]
    code, out, err = look(case)
    lines = err.splitlines()
    assert "Traceback" not in err
    assert "internal fault" not in err
    assert all(line.isprintable() for line in (*lines, *out.splitlines()))
    if case.wanted == "refuse":
        assert (code, out) == (2, "")
        assert 0 < len(lines) <= 22
        assert all(line.startswith("error: ") and "; " in line for line in lines)
        assert max(map(len, lines)) < 1000
        assert case.said in err
        return
    assert (code, err) == (0, "")
    warned = [line for line in out.splitlines() if line.startswith("warning: ")]
    if case.wanted == "warn":
        assert case.said in "\n".join(warned)


def _linked(folder: Path, name: str, goal: Path) -> None:
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to(goal)


@pytest.mark.parametrize("name", ["scenario.toml", "supply.csv", "route.csv", "places.csv"])
@pytest.mark.parametrize("goal", ["secret", "scenario", "nowhere", "scenario/scenario.toml.x"])
def test_a_link_out_of_the_folder_is_not_followed(
    name: str, goal: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "secret").write_text(f"{SECRET},x\n")
    folder = tmp_path / "scenario"
    write_case(CASES["table: a good table"], folder)
    _linked(folder, name, tmp_path / goal)
    with watched() as sight, pytest.raises(SystemExit) as ended:
        main(["check", str(folder)])
    err = capsys.readouterr().err
    assert ended.value.code == 2
    assert sight.outside(folder) == []
    assert SECRET not in err
    (line,) = err.splitlines()
    assert name.split(".", maxsplit=1)[0] in line


def test_a_link_within_the_folder_is_followed(tmp_path: Path) -> None:
    folder = tmp_path / "scenario"
    write_case(CASES["table: a good table"], folder)
    (folder / "taps.csv").write_bytes((folder / "supply.csv").read_bytes())
    _linked(folder, "supply.csv", Path("taps.csv"))
    (tmp_path / "link").symlink_to(folder)
    with pytest.raises(SystemExit) as ended:
        main(["check", str(tmp_path / "link")])
    assert ended.value.code == 0


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX systems")
@pytest.mark.parametrize("name", ["scenario.toml", "supply.csv", "route.csv"])
def test_a_pipe_is_not_waited_for(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "scenario"
    write_case(CASES["table: a good table"], folder)
    (folder / name).unlink(missing_ok=True)
    os.mkfifo(folder / name)
    with pytest.raises(SystemExit) as ended:
        main(["check", str(folder)])
    assert ended.value.code == 2
    assert name in capsys.readouterr().err


# --- bounds ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bound", "figure", "case", "said"),
    [
        ("points", "59", GOOD, "more than 59 points"),
        ("elements", "100", GOOD, "more than 100 elements"),
        ("depth", "3", GOOD, "more than 3 elements deep"),
        ("gpx_bytes", "1000", GOOD, "larger than 1000 bytes"),
        ("tag_bytes", "20", GOOD, "no tag in 20 bytes"),
        ("table_bytes", "30", "table: a good table", "larger than 30 bytes"),
        ("rows", "4", "table: a good table", "more than 4 rows"),
        ("columns", "2", "table: a good table", "5 columns; give at most 2"),
        ("toml_bytes", "512", "settings: nan ratio", "larger than 512 bytes"),
    ],
)
def test_a_bound_is_kept_and_can_be_set(
    bound: str, figure: str, case: str, said: str, look: Look, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(f"HAULPLAN_MOST_{bound.upper()}", figure)
    code, _, err = look(CASES[case])
    assert code == 2
    assert said in err


def test_a_bound_can_be_raised(look: Look, monkeypatch: pytest.MonkeyPatch) -> None:
    assert look(CASES["a huge text"])[0] == 2
    monkeypatch.setenv("HAULPLAN_MOST_TAG_BYTES", "4000000")
    assert look(CASES["a huge text"])[0] == 0


@pytest.mark.parametrize("name", ["table: faults in every row", "settings: many keys"])
def test_faults_are_told_up_to_the_bound(
    name: str, look: Look, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HAULPLAN_MOST_FAULTS", "3")
    lines = look(CASES[name])[2].splitlines()
    assert 4 <= len(lines) <= 5
    assert "mend those above first" in lines[-1]


@pytest.mark.parametrize("text", ["", "0", "-1", "1e6", "lots", "\u0665", "9" * 5000, "1_0"])
def test_a_bound_that_is_no_number_is_refused(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HAULPLAN_MOST_ROWS", text)
    with pytest.raises(InputError, match=r"environment, HAULPLAN_MOST_ROWS: .* is not allowed"):
        bounds()


def test_the_bounds_are_told_in_the_guide() -> None:
    text = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name, figure in vars(Bounds()).items():
        assert f"| `HAULPLAN_MOST_{name.upper()}` | {figure:,} |" in text
