"""Make anew what is shown of the program: README's figures and the outputs in maps/.

Run from the top of the repository: python tests/refresh.py
"""

import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path

from haulplan.demand.defaults import every_default

TOP = Path(__file__).resolve().parent.parent
SCENARIOS = ("hobmere-penniford",)


def run(*words: str) -> str:
    """Standard output of haulplan at 80 columns, trailing blanks removed."""
    env = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "PYTHONPATH": str(TOP)}
    done = subprocess.run(
        [sys.executable, "-m", "haulplan", *words],
        cwd=TOP, env=env, capture_output=True, text=True, check=True, encoding="utf-8",
    )  # fmt: skip
    return "\n".join(line.rstrip() for line in done.stdout.splitlines()) + "\n"


def plan_block() -> str:
    """What README shows of the first command."""
    text = run("plan", "scenarios/hobmere-penniford")
    return f"<!-- plan -->\n```text\n{text.rstrip()}\n```\n<!-- end plan -->"


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


def renew(text: str, block: str) -> str:
    """The text with the block of the same name put in its place."""
    name = block.split("-->")[0].removeprefix("<!-- ").strip()
    pattern = rf"<!-- {name} -->.*?<!-- end {name} -->"
    return re.sub(pattern, lambda _: block, text, flags=re.DOTALL)


def main() -> None:
    """Write README.md and maps/ anew."""
    readme = TOP / "README.md"
    text = readme.read_text(encoding="utf-8")
    readme.write_text(renew(renew(text, plan_block()), defaults_block()), encoding="utf-8")
    for name in SCENARIOS:
        folder = TOP / "maps" / name
        if folder.exists():
            shutil.rmtree(folder)
        run("plan", f"scenarios/{name}", "--out", str(folder))


if __name__ == "__main__":
    main()
