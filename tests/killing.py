"""Kill writers outright at random moments and look at what they leave."""

import os
import random
import subprocess
import sys
import time
from pathlib import Path

from haulplan.outputs.write import write_outputs

__all__ = ["kill_commands", "kill_writers"]

TOP = Path(__file__).resolve().parent.parent
#: On a word from outside, writes version after version until it is killed.
WRITER = """
import itertools, sys
from pathlib import Path
from haulplan.outputs.write import write_outputs
base = Path(sys.argv[1])
sys.stdin.readline()
print("begun", flush=True)
for number in itertools.count():
    text = f"{number:08d}" * 20_000
    files = {"stops.csv": text, "plan.json": text, "map.html": text}
    write_outputs(base / "again", files, force=True)
    write_outputs(base / f"first{number}", files, force=False)
"""
_NAMES = ("map.html", "plan.json", "stops.csv")


def _torn(folder: Path) -> str:
    """What is wrong with a folder that should hold one version whole; "" if nothing."""
    found = {path.name: path.read_text() for path in folder.iterdir()}
    if sorted(found) != sorted(_NAMES):
        return f"{folder.name} holds {sorted(found)}"
    (content, *others) = set(found.values())
    if others or content != content[:8] * 20_000:
        return f"{folder.name} is of two versions or cut short"
    return ""


def _judge(base: Path) -> list[str]:
    shown = [path for path in base.iterdir() if not path.name.startswith(".")]
    wrong = [_torn(folder) for folder in shown if ".old-" not in folder.name]
    if not (base / "again").exists():
        aside = [path for path in shown if ".old-" in path.name]
        wrong += [_torn(aside[0])] if len(aside) == 1 else ["the old version is gone"]
    return [f"{base.name}: {line}" for line in wrong if line]


def kill_writers(base: Path, count: int, chance: random.Random) -> list[str]:
    """Kill writers amid their work.

    Parameters
    ----------
    base
        Folder to work in.
    count
        How many.
    chance
        Draws the moments.

    Returns
    -------
    torn
        What is not whole.
    """
    first = dict.fromkeys(_NAMES, "aaaaaaaa" * 20_000)
    torn: list[str] = []
    for number in range(count):
        folder = base / str(number)
        write_outputs(folder / "again", first, force=False)
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONPATH": str(TOP)},
        ) as writer:  # fmt: skip
            assert writer.stdin is not None
            assert writer.stdout is not None
            writer.stdin.write("go\n")
            writer.stdin.flush()
            assert writer.stdout.readline() == "begun\n"
            time.sleep(chance.uniform(0.0, 0.08))
            writer.kill()
        torn += _judge(folder)
    return torn


def kill_commands(
    base: Path, count: int, chance: random.Random, scenario: Path
) -> tuple[list[str], str]:
    """Kill whole commands amid their run, over an older plan.

    Parameters
    ----------
    base
        Folder to work in.
    count
        How many.
    chance
        Draws the moments.
    scenario
        What to plan.

    Returns
    -------
    torn, seen
        What is not whole, and how many plans were the old and how many the new.
    """
    env = {**os.environ, "PYTHONPATH": str(TOP)}
    command = [sys.executable, "-m", "haulplan", "plan", str(scenario), "--out"]
    begun = time.monotonic()
    subprocess.run([*command, str(base / "out")], check=True, env=env, capture_output=True)
    whole = time.monotonic() - begun
    names = sorted(path.name for path in (base / "out").iterdir())
    torn, renewed = [], 0
    for number in range(count):
        folder = base / str(number)
        old = dict.fromkeys(names, "old")
        write_outputs(folder, old, force=False)
        with subprocess.Popen(
            [*command, str(folder), "--force"],
            env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        ) as running:  # fmt: skip
            time.sleep(chance.uniform(0.5, 1.1) * whole)
            running.kill()
        there = folder if folder.exists() else next(base.glob(f"{number}.old-*"), folder)
        kept = {path.name: path.read_bytes() for path in there.iterdir()} if there.exists() else {}
        new = kept and b"old" not in kept.values()
        renewed += bool(new)
        if sorted(kept) != names or (not new and set(kept.values()) != {b"old"}):
            torn.append(f"{number}: {sorted(kept)}")
    return torn, f"{count - renewed} old plans kept, {renewed} new"
