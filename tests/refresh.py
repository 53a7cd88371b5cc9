"""Make anew what is shown of the program: README's figures and the outputs in maps/.

Run from the top of the repository: python tests/refresh.py
"""

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
from haulplan.outputs.evidence import evidence_markdown, evidence_summary

TOP = Path(__file__).resolve().parent.parent
RESULTS = TOP / "haulplan" / "evidence" / "RESULTS.md"
SCENARIOS = ("hobmere-penniford",)
RECORD = "sallow-flat-1907"
NETWORKS = ("ellersby-coldwater",)
EVENTS = ("sallowby-harvest",)


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


def renew(text: str, block: str) -> str:
    """The text with the block of the same name put in its place."""
    name = block.split("-->", maxsplit=1)[0].removeprefix("<!-- ").strip()
    pattern = rf"<!-- {name} -->.*?<!-- end {name} -->"
    return re.sub(pattern, lambda _: block, text, flags=re.DOTALL)


def main() -> None:
    """Write README.md and maps/ anew."""
    readme = TOP / "README.md"
    text = readme.read_text(encoding="utf-8")
    for block in (plan_block(), begin_block(), defaults_block(), evidence_block()):
        text = renew(text, block)
    readme.write_text(text, encoding="utf-8")
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
    for name in EVENTS:
        run("stations", f"scenarios/{name}", "--out", str(TOP / "maps" / name), "--force")


if __name__ == "__main__":
    main()
