"""The guides tell the truth: made from the program, or run and compared with it."""

import re
import runpy
import shlex
import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import click
import pytest
import refresh
from pydantic import TypeAdapter
from rich.console import Console

from haulplan.cli import cli, main
from haulplan.errors import InputError
from haulplan.guides import GUIDES, copy_demos, read_guide
from haulplan.guides.keys import Key, example_value, find_keys, sections
from haulplan.outputs.cautions import CAUTIONS
from haulplan.scenario import schema
from haulplan.scenario.wording import COLUMN_NAMES

TOP = Path(__file__).resolve().parent.parent
KEYS = [key for section in sections() for key in section.keys]
FIELDS = {column: name for name, column in COLUMN_NAMES.items()}
MODEL = {section.name: section.model for section in sections()}
#: Half a minute or more each; tests of their own run them.
SLOW = {"compare", "drill", "stations"}


def read(name: str) -> str:
    return (refresh.GUIDES / f"{name}.md").read_text(encoding="utf-8")


def commands(name: str) -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)\n```", read_guide(name), flags=re.DOTALL)
    return [line for block in blocks for line in block.replace("\\\n", "").splitlines()]


def run(line: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as caught:
        main(shlex.split(line)[1:])
    said = capsys.readouterr()
    return int(str(caught.value.code)), said.out, said.err


def understood(command: str, words: list[str]) -> None:
    """Let the command line read words without acting on them."""
    parent = click.Context(cli, **cli.context_settings)
    cli.commands[command].make_context(command, words, parent=parent)


# --- made from the program ------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "block"),
    [(file, block) for file, blocks in refresh.GUIDE_BLOCKS.items() for block in blocks],
    ids=lambda item: getattr(item, "__name__", item),
)
def test_a_block_of_a_guide_is_the_present_one(file: str, block: Callable[[], str]) -> None:
    assert block() in (refresh.GUIDES / file).read_text(encoding="utf-8"), (
        "python tests/refresh.py guides"
    )


def test_every_key_of_the_schema_has_a_meaning_and_no_other_has_one() -> None:
    given = {
        name: keys
        for package in ("scenario", "stations")
        for name, keys in tomllib.loads(
            (TOP / "haulplan" / package / "meanings.toml").read_text(encoding="utf-8")
        ).items()
    }
    told = {(section, key) for section, keys in given.items() for key in keys}
    assert told == {(key.section, key.name) for key in KEYS}
    for key in KEYS:
        assert key.says.endswith("."), key
        assert key.takes, key


def test_the_reference_holds_every_table_that_is_read() -> None:
    from haulplan.scenario.read import _TABLES as SCENARIO
    from haulplan.stations.read import _TABLES as EVENT

    tables = {name: model for name, model in MODEL.items() if name.endswith(".csv")}
    for name, model in {**SCENARIO, "route.csv": schema.RoadRow}.items():
        assert tables.pop(name) is model
    for name, model in EVENT.items():
        assert tables.pop(f"event/{name}" if f"event/{name}" in MODEL else name) is model
    assert not tables


@pytest.mark.parametrize("key", KEYS, ids=lambda key: f"{key.section}.{key.name}")
def test_an_example_of_the_reference_is_taken(key: Key) -> None:
    field = MODEL[key.section].model_fields[FIELDS.get(key.name, key.name)]
    kind: Any = Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation
    TypeAdapter(kind).validate_python(
        example_value(key), context={"currency": "GBP" if "GBP" in key.example else "USD"}
    )


def test_every_source_of_a_formula_is_in_the_method() -> None:
    for words in ("Rankine", "Willans", "IAPWS R7-97(2012)", "Morin", "Agg", "ISO 2533", "Kent"):
        assert words in read("method")


def test_the_cautions_stand_in_one_place() -> None:
    for line in CAUTIONS:
        assert f"- {line}\n" in read("cautions")


# --- compared with the outputs --------------------------------------------------------


def test_every_heading_and_column_of_the_terminal_is_explained() -> None:
    guide = read("reading")
    lines = refresh.plan_block().splitlines()
    for heading in ("Stops", "Legs", "Bridges", "Days", "To pay", "Coal for lighting up",
                    "Warnings", "Assumptions", "Cautions"):  # fmt: skip
        assert any(line.startswith(heading) for line in lines), heading
        assert f"**{heading}" in guide, heading
    rules = [n for n, line in enumerate(lines) if line.startswith("───")]
    assert len(rules) == 4
    units = {"mi", "ft", "min", "mph", "US", "gal", "lb", "gal/mi", "short", "ton", "each", "in"}
    for rule in rules[:2]:  # stops and legs; the others tell themselves
        for word in re.findall(r"[A-Za-z/]+", " ".join(lines[rule - 2 : rule])):
            assert word in units or re.search(rf"\b{word}\b", guide), word
    for mark in ("proved best", "arrive", "leave", "wait", "+1 d"):
        assert mark in refresh.plan_block()
        assert mark in guide


def test_every_column_and_mark_of_the_run_sheet_is_explained() -> None:
    guide = read("reading")
    sheet = (TOP / "maps" / "hobmere-penniford" / "run-sheet.html").read_text(encoding="utf-8")
    head = sheet.partition("</thead>")[0]
    columns = re.findall(r"<th[^>]*>([^<]+)", head)
    assert columns == ["mi", "clock", "place", "hill", "ACTION", "tank", "next", "else", "actual"]
    rows = re.findall(r"(?m)^\| ([^|]+) \|", guide.partition("## The run sheet")[2])
    explained = {word.split(" (")[0] for row in rows for word in row.split(", ")}
    assert set(columns) <= explained
    overleaf = set(re.findall(r"<h2>([^<]+)</h2>", sheet)) - {"Cautions"}
    assert overleaf == set(re.findall(r"\*([A-Z][^*]+)\*", guide.partition("Overleaf:")[2]))
    marks = re.compile(r"(?<![A-Za-z])[A-Z]{3,}(?: [A-Z]{3,})*(?![A-Za-z])")
    shown = re.sub(r"(?s)<(script|style|svg)\b.*?</\1>|<[^>]+>", " ", sheet)
    source = "".join(
        (TOP / "haulplan" / "outputs" / f"{name}.py").read_text(encoding="utf-8")
        for name in ("runsheet", "overleaf", "roadbook")
    )
    told = guide.partition("## The run sheet")[2].partition("## The other files")[0]
    for mark in set(marks.findall(told)) - {"WATER 34"}:
        assert mark in shown or mark in source or mark.title() in shown, mark


def test_every_file_that_plan_writes_is_explained() -> None:
    guide = read("reading")
    for path in (TOP / "maps" / "hobmere-penniford").iterdir():
        assert f"`{path.name}`" in guide, path.name


# --- commands -------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["crew", "historian", "organiser", "roads"])
def test_the_commands_of_a_guide_run_in_their_order(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    lines = commands(name)
    assert lines[0] == "haulplan demos scenarios"
    for line in lines:
        program, command, *words = shlex.split(line)
        assert program == "haulplan"
        if command in SLOW:
            understood(command, words)
            continue
        quick = " --draws 1000" if command == "reconstruct" else ""
        code, out, err = run(line + quick, capsys)
        assert (code, err) == (0, ""), line
        assert out


def test_the_guides_are_listed_and_printed(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run("haulplan guide", capsys)
    assert code == 0
    for name, about in GUIDES.items():
        assert re.search(rf"(?m)^  {name} +{re.escape(about)}$", out)
        code, text, err = run(f"haulplan guide {name}", capsys)
        assert (code, err) == (0, "")
        assert text.rstrip() == read_guide(name).rstrip()
        assert "<!--" not in text
    with pytest.raises(KeyError):
        read_guide("zebra")


@pytest.mark.parametrize("name", [*GUIDES])
def test_a_guide_is_set_within_80_columns_on_a_terminal(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = Console(width=80, force_terminal=True, no_color=True)
    monkeypatch.setattr("haulplan.cli.running.console", lambda: page)
    code, out, _ = run(f"haulplan guide {name}", capsys)
    assert code == 0
    plain = re.sub(r"\x1b\[[0-9;]*m", "", out)
    assert max(map(len, plain.splitlines())) <= 80
    assert "| --- |" not in plain
    assert "|---|" not in plain


@pytest.mark.parametrize(
    ("word", "names"),
    [
        ("stores.tank", ["stores.tank"]),
        ("tank", ["stores.tank", "fleet.tank"]),
        ("[stores]", ["stores.tank", "stores.bunker"]),
        ("stores.csv.loads", ["stores.loads"]),
        ("supply.lift", ["supply.lift"]),
        ("supply.csv.lift", ["supply.lift"]),
        ("surfaces.csv", ["surfaces.from", "surfaces.to", "surfaces.surface",
                          "surfaces.speed_limit"]),
        ("chances.runs", ["chances.runs"]),
        ("event/bridges.csv.width", ["event/bridges.width"]),
        ("tyre", ["engine.tyre", "train.wagons.tyre"]),
        ("zebra", []),
    ],
)  # fmt: skip
def test_a_key_is_found_by_its_names(word: str, names: list[str]) -> None:
    assert [key.full_name for key in find_keys(word)] == names


def test_a_key_is_looked_up(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run("haulplan guide stores.tank", capsys)
    assert (code, err) == (0, "")
    assert out == (
        "stores.tank  (in [stores] of scenario.toml)\n"
        "  Room in the tank that can be used: the last inches stay there.\n"
        "  takes       water, 1 L to 50000 L\n"
        '  example     tank = "320 US gal"\n'
        "  if left out refused: it is needed\n"
    )
    code, out, err = run("haulplan guide stores.tnk", capsys)
    assert (code, out) == (2, "")
    assert "error: no guide and no key 'stores.tnk': did you mean 'stores.tank'?" in err


# --- demos and Python -----------------------------------------------------------------


def test_the_demos_are_written_whole_and_once(tmp_path: Path) -> None:
    names = copy_demos(tmp_path / "here")
    kept = sorted(p.relative_to(TOP / "scenarios") for p in (TOP / "scenarios").rglob("*")
                  if p.is_file() and "__pycache__" not in p.parts)  # fmt: skip
    there = sorted(p.relative_to(tmp_path / "here") for p in (tmp_path / "here").rglob("*")
                   if p.is_file())  # fmt: skip
    assert there == kept
    assert "hobmere-penniford" in names
    with pytest.raises(InputError, match="already exists"):
        copy_demos(tmp_path / "here")
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be written"):
        copy_demos(tmp_path / "file" / "below")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "here"]


def test_the_example_in_python_runs(capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_path(str(TOP / "scenarios" / "first_plan.py"))
    out = capsys.readouterr().out
    assert "5 stops, 0% from the best" in out
    assert "Stonebreakers' cistern      12:53      13:01                   34" in out
    assert re.search(r"(?m)^as it is +5 stops, arrives 08:27 \+1 d, 63\.24 USD$", out)
    other = re.search(r"(?m)^without that wagon 4 stops, .* ([\d.]+) USD$", out)
    assert other is not None
    assert float(other[1]) < 63.24


@pytest.mark.parametrize("name", [p.parent.name for p in (TOP / "scenarios").glob("*/README.md")])
def test_a_demo_tells_its_story_what_is_invented_and_commands_that_run(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (TOP / "scenarios" / name / "README.md").read_text(encoding="utf-8")
    assert re.search(r"(?i)\binvented\b", text)
    assert re.match(r"# .+\n\n\w", text)
    for file in re.findall(r"(?m)^\| `([^`]+)` \|", text):
        assert (TOP / "scenarios" / name / file).is_file(), file
    lines = re.findall(r"(?m)^ {4}(haulplan .+)$", text)
    assert lines
    shutil.copytree(TOP / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    guided = {line for guide in ("crew", "historian", "organiser", "roads")
              for line in commands(guide)}  # fmt: skip
    for line in lines:
        _, command, *words = shlex.split(line)
        assert any(f"scenarios/{name}" in word for word in words), line
        understood(command, words)
        if command not in SLOW and line not in guided:  # those run with their guide
            code, out, err = run(line, capsys)
            assert (code, err) == (0, ""), line
            assert out
