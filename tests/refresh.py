"""Make anew what is shown of the program: README's figures and the outputs in maps/.

Run from the top of the repository: python tests/refresh.py
"""

import importlib
import inspect
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

from haulplan.demand.defaults import every_default
from haulplan.evidence import compare_all
from haulplan.guides.keys import reference
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.evidence import evidence_markdown, evidence_summary
from haulplan.plan import model

TOP = Path(__file__).resolve().parent.parent
GUIDES = TOP / "haulplan" / "guides"
FORMULAE = ("resistance", "engine", "boiler", "steam")
RESULTS = TOP / "haulplan" / "evidence" / "RESULTS.md"
SCENARIOS = ("hobmere-penniford",)
RECORD = "sallow-flat-1907"
NETWORKS = ("ellersby-coldwater",)
EVENTS = ("sallowby-harvest",)
#: The demo beside what a crew might change of it, by the folder in maps/.
VARIANTS = {
    "hobmere-penniford-compare": (
        "scenarios/hobmere-penniford",
        "--with", "stores left at home: train.wagons[3].load = 0 lb",
        "--with", "crew of 14 h: hours.crew = 14 h",
        "--with", 'seasoned wood: fuel = {kind = "dry-wood"}',
        "--over", "depart = 07:00 to 08:30 by 30 min; depart_by = none",
    ),
}  # fmt: skip


def run(*words: str, cwd: Path = TOP) -> str:
    """Standard output of haulplan at 80 columns, trailing blanks removed."""
    env = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "PYTHONPATH": str(TOP)}
    done = subprocess.run(
        [sys.executable, "-m", "haulplan", *words],
        cwd=cwd, env=env, capture_output=True, text=True, check=True, encoding="utf-8",
    )  # fmt: skip
    return "\n".join(line.rstrip() for line in done.stdout.splitlines()) + "\n"


def reconstruct_words(out: Path) -> tuple[str, ...]:
    """The command that makes the historian's demo."""
    record = f"scenarios/{RECORD}/record.toml"
    return ("reconstruct", record, "--draws", "20000", "--out", str(out))


def plan_block() -> str:
    """What README shows of the first command."""
    text = run("plan", "scenarios/hobmere-penniford")
    return f"<!-- plan -->\n```text\n{text.rstrip()}\n```\n<!-- end plan -->"


#: What README begins with, but for the place of the track.
BEGIN = (
    "begin", "my-run", "--track", "scenarios/hobmere-penniford/route.gpx", "--engine",
    "small-tractor", "--train", "6 short ton", "--date", "2027-05-22", "--no-questions",
)  # fmt: skip


def begin_block() -> str:
    """What README shows of a scenario begun from a track."""
    words = [str(TOP / word) if word.startswith("scenarios/") else word for word in BEGIN]
    with tempfile.TemporaryDirectory() as folder:
        text = run(*words, cwd=Path(folder))
    return f"<!-- begin -->\n```text\n{text.rstrip()}\n```\n<!-- end begin -->"


def defaults_block() -> str:
    """How many defaults rest on what."""
    rows = every_default()
    count = Counter(row.status for row in rows)
    return (
        "<!-- defaults -->\n"
        f"The model has {len(rows)} default figures: {count['published']} from published "
        f"sources we have seen, {count['from memory']} from named sources quoted from memory, "
        f"{count['assumption']} assumptions of our own.\n"
        "<!-- end defaults -->"
    )


def evidence_block() -> str:
    """How the model stands against the trials."""
    lines = "\n".join(f"- {line}" for line in evidence_summary(compare_all()))
    return f"<!-- evidence -->\n{lines}\n<!-- end evidence -->"


def results() -> str:
    """The whole comparison, as kept in the package."""
    head = (
        "# The steam model against published trials\n\n"
        "Made by `python tests/refresh.py`; `haulplan evidence` prints the same. What each "
        "case is reckoned from stands in `ASSUMPTIONS.md` and `trials.csv`, written before "
        "the first comparison. No figure of the model was set by these cases.\n\n"
    )
    return head + evidence_markdown(compare_all())


def keys_block() -> str:
    """The reference of every key and column of a scenario."""
    return f"<!-- keys: made by tests/refresh.py -->\n{reference('scenario')}<!-- end keys -->"


def event_block() -> str:
    """The same of an event."""
    return f"<!-- event: made by tests/refresh.py -->\n{reference('event')}<!-- end event -->"


def cautions_block() -> str:
    """The cautions as every first page shows them."""
    lines = "\n".join(f"- {line}" for line in CAUTIONS)
    note = "made by tests/refresh.py from haulplan/outputs/cautions.py"
    return f"<!-- cautions: {note} -->\n{lines}\n<!-- end cautions -->"


def programme_block() -> str:
    """The formulation that stands at the head of plan/model.py."""
    note = "made by tests/refresh.py from haulplan/plan/model.py"
    text = inspect.cleandoc(model.__doc__ or "")
    return f"<!-- programme: {note} -->\n```text\n{text}\n```\n<!-- end programme -->"


def equations_block() -> str:
    """What each formula reckons, its equation and its source, from its docstring."""
    note = "made by tests/refresh.py from the docstrings of haulplan/demand"
    parts = [f"<!-- equations: {note} -->"]
    for name in FORMULAE:
        module = importlib.import_module(f"haulplan.demand.{name}")
        for word in module.__all__:
            parts += _equation(name, word, getattr(module, word))
    return "\n".join([*parts, "<!-- end equations -->"])


def _equation(module: str, word: str, formula: object) -> list[str]:
    if not inspect.isfunction(formula):
        return []
    doc = inspect.getdoc(formula) or ""
    sections = re.split(r"(?m)^([A-Z][a-z]+)\n-{3,}\n", doc)
    named = dict(zip(sections[1::2], sections[2::2], strict=True))
    lines = [f"**`{module}.{word}`**: {doc.partition(chr(10))[0]}"]
    if "Notes" in named:
        lines.append(f"*Equation.* {' '.join(named['Notes'].split())}")
    sources = re.sub(r"\.\. (\[\d+\]) ", r"\1 ", " ".join(named["References"].split()))
    return ["\n".join((*lines, f"*Source.* {sources}")), ""]


#: Blocks of the guides, by file.
GUIDE_BLOCKS = {
    "scenario.md": (keys_block,),
    "event.md": (event_block,),
    "cautions.md": (cautions_block,),
    "method.md": (programme_block, equations_block),
}


def renew(text: str, block: str) -> str:
    """The text with the block of the same name put in its place."""
    head = block.split(" -->", maxsplit=1)[0].removeprefix("<!-- ")
    name = head.partition(":")[0]
    pattern = rf"<!-- {re.escape(head)} -->.*?<!-- end {name} -->"
    return re.sub(pattern, lambda _: block, text, flags=re.DOTALL)


def renew_guides() -> None:
    """Write anew what the guides show of the program."""
    for name, blocks in GUIDE_BLOCKS.items():
        text = (GUIDES / name).read_text(encoding="utf-8")
        for block in blocks:
            text = renew(text, block())
        (GUIDES / name).write_text(text, encoding="utf-8")


def main() -> None:
    """Write README.md, the guides and maps/ anew; with 'guides' only those."""
    readme = TOP / "README.md"
    text = readme.read_text(encoding="utf-8")
    for block in (plan_block(), begin_block(), defaults_block(), evidence_block()):
        text = renew(text, block)
    readme.write_text(text, encoding="utf-8")
    renew_guides()
    RESULTS.write_text(results(), encoding="utf-8")
    for name in SCENARIOS:
        folder = TOP / "maps" / name
        if folder.exists():
            shutil.rmtree(folder)
        run("plan", f"scenarios/{name}", "--out", str(folder))
        demand = TOP / "maps" / f"{name}-demand"
        if demand.exists():
            shutil.rmtree(demand)
        run("demand", f"scenarios/{name}", "--out", str(demand))
    history = TOP / "maps" / RECORD
    if history.exists():
        shutil.rmtree(history)
    run(*reconstruct_words(history))
    for name in NETWORKS:
        ways = TOP / "maps" / f"{name}-ways"
        if ways.exists():
            shutil.rmtree(ways)
        run("ways", f"scenarios/{name}", "--out", str(ways))
    for name, words in VARIANTS.items():
        run("compare", *words, "--out", str(TOP / "maps" / name), "--force")
    for name in EVENTS:
        run("stations", f"scenarios/{name}", "--out", str(TOP / "maps" / name), "--force")


if __name__ == "__main__":
    renew_guides() if sys.argv[1:] == ["guides"] else main()
