"""What a newcomer types first: the examples of the help texts, and slips of the pen."""

import re
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from haulplan.cli import COMMANDS, cli, main
from haulplan.cli.wording import examples

TOP = Path(__file__).resolve().parent.parent
#: Commands whose examples take long or ask for files nobody has yet: their words are read.
READ_ONLY = {"changes", "compare", "drill", "evidence", "reconstruct", "stations"}
EXAMPLES = [
    (name, line) for name in cli.list_commands(click.Context(cli))
    for line in examples(cli.commands[name])
]  # fmt: skip

Ask = Callable[[str], tuple[int, str, str]]


@pytest.fixture
def ask(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Ask:
    """Types a command; how it ended and what it said."""
    monkeypatch.setenv("COLUMNS", "80")

    def go(line: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as caught:
            main(shlex.split(line)[1:])
        said = capsys.readouterr()
        return int(str(caught.value.code)), said.out, said.err

    return go


def test_every_command_has_an_example_and_a_heading() -> None:
    assert {name for name, _ in EXAMPLES} == set(cli.commands)
    assert [name for names in COMMANDS.values() for name in names] == list(cli.commands)
    assert set(cli.headings) == set(cli.commands)


def test_the_list_of_commands_cuts_no_sentence_off(ask: Ask) -> None:
    for line in ("haulplan", "haulplan --help"):
        code, out, err = ask(line)
        assert (code, err) == (0, "")
        assert "..." not in out.partition("Before the run:")[2]
        assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize("name", [*cli.commands])
def test_help_says_what_to_write_in_the_words_of_the_trade(name: str, ask: Ask) -> None:
    _, out, _ = ask(f"haulplan {name} --help")
    assert not re.search(r"\b(TEXT|PATH|FLOAT|INTEGER|RANGE)\b", out)


@pytest.mark.parametrize(("name", "line"), EXAMPLES, ids=[line for _, line in EXAMPLES])
def test_an_example_of_help_is_understood(name: str, line: str) -> None:
    program, first, *words = shlex.split(line)
    assert (program, first) == ("haulplan", name)
    parent = click.Context(cli, **cli.context_settings)
    context = cli.commands[name].make_context(name, words, parent=parent)
    for key in ("scenario", "event", "record"):
        if key in context.params:
            assert (TOP / str(context.params[key])).exists()


@pytest.mark.parametrize(
    ("name", "line"),
    [(name, line) for name, line in EXAMPLES if name not in READ_ONLY and " log-" not in line],
    ids=lambda item: item,
)  # fmt: skip
def test_an_example_of_help_runs(
    name: str, line: str, ask: Ask, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if name != "demos":
        shutil.copytree(TOP / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    code, out, err = ask(line)
    assert (code, err) == (0, "")
    assert out
    for option in ("--out", "--template"):
        words = shlex.split(line)
        if option in words:
            assert (tmp_path / words[words.index(option) + 1]).exists()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("haulplan pln", "no command 'pln': did you mean 'plan'?"),
        ("haulplan Plan x", "no command 'Plan': did you mean 'plan'?"),
        ("haulplan zebra", "no command 'zebra'; 'haulplan --help' lists them"),
        ("haulplan plan --unit us x", "no option '--unit': did you mean '--units'?"),
        ("haulplan plan --hlep", "no option '--hlep': did you mean '--help'?"),
        ("haulplan check --zebra x", "no option '--zebra'; 'haulplan check --help' lists them"),
        (
            "haulplan plan x --aim earlist",
            "--aim: 'earlist' is not allowed; did you mean 'earliest'? allowed: earliest, "
            "cheapest, fewest-stops, weighted",
        ),
        (
            "haulplan plan x --time-limit 0",
            "--time-limit: '0.0' is not allowed; write a number of at least 0.1",
        ),
        (
            "haulplan reconstruct x --draws many",
            "--draws: 'many' is not allowed; write a whole number of at least 1,000 and at "
            "most 2,000,000",
        ),
        (
            "haulplan check",
            "SCENARIO is missing; give it, as in: haulplan check scenarios/hobmere-penniford",
        ),
    ],
)
def test_a_slip_in_a_command_is_answered(line: str, told: str, ask: Ask) -> None:
    code, out, err = ask(line)
    assert (code, out) == (2, "")
    usage, error = err.splitlines()
    assert usage.startswith("Usage: haulplan")
    assert error == f"error: {told}"


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (
            "haulplan plan scenarios/hobmere-peniford",
            "scenarios/hobmere-peniford: no such folder; did you mean "
            "'scenarios/hobmere-penniford'? give a folder that holds scenario.toml",
        ),
        (
            "haulplan plan scenarios/hobmere-penniford/scenario.toml",
            "scenarios/hobmere-penniford/scenario.toml: a file, not a folder; give its folder: "
            "scenarios/hobmere-penniford",
        ),
        (
            "haulplan check scenarios/sallowby-harvest",
            "scenarios/sallowby-harvest: no scenario.toml in it; it holds event.toml: use "
            "'haulplan stations'",
        ),
        (
            "haulplan stations scenarios/hobmere-penniford",
            "scenarios/hobmere-penniford: no event.toml in it; it holds scenario.toml: use "
            "'haulplan plan'",
        ),
    ],
)
def test_a_slip_in_a_folder_is_answered(
    line: str, told: str, ask: Ask, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(TOP)
    assert ask(line) == (2, "", f"error: {told}\n")


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        (
            "scenario.toml", 'tank = "320 US gal"', 'tank = "320 US gall"',
            "one of: US gal, imp gal, l, litre, liter, m3, m³, ft3, kg, g, t, tonne, lb, "
            "short ton, long ton, short cwt, long cwt; did you mean 'US gal'?",
        ),
        (
            "scenario.toml", 'units = "us"', 'units = "mertic"',
            "scenario.toml, units: 'mertic' is not allowed; did you mean 'metric'? write 'us'",
        ),
        (
            "scenario.toml", "[reserve]", "[resreve]",
            "scenario.toml, resreve: unknown name; did you mean 'reserve'? allowed: ",
        ),
        (
            "surfaces.csv", "brick", "bricks",
            "column surface: 'bricks' is not allowed; did you mean 'brick'? write ",
        ),
    ],
)  # fmt: skip
def test_a_slip_in_a_scenario_is_answered(
    file: str, old: str, new: str, told: str, ask: Ask, tmp_path: Path
) -> None:
    folder = tmp_path / "mine"
    shutil.copytree(TOP / "scenarios" / "hobmere-penniford", folder)
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    code, out, err = ask(f"haulplan check {folder}")
    assert (code, out) == (2, "")
    assert told in err


@pytest.mark.parametrize("name", ["suply.csv", "Supply.csv", "supplys.csv"])
def test_a_table_with_a_slip_in_its_name_is_not_passed_over(
    name: str, ask: Ask, tmp_path: Path
) -> None:
    folder = tmp_path / "mine"
    shutil.copytree(TOP / "scenarios" / "hobmere-penniford", folder)
    (folder / "supply.csv").rename(folder / name)
    code, _, err = ask(f"haulplan check {folder}")
    assert code == 2
    assert err == (
        f"error: {name}: no table of that name; did you mean 'supply.csv'? rename it, or take "
        "it out of the folder\n"
    )
