"""Guides that come with the package: read with no network, kept true by tests."""

import re
import secrets
import shutil
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Final

from haulplan.errors import InputError, Problem

__all__ = ["GUIDES", "copy_demos", "read_guide"]

#: Every guide by name, in the order a newcomer may want them, and what it is about.
GUIDES: Final[Mapping[str, str]] = {
    "crew": "from nothing to paper in ten minutes, the road, and the evening after",
    "historian": "a recorded trip: what it implies, whether it can be true",
    "record": "every key of a record",
    "organiser": "water stations for a parade of many engines",
    "roads": "choosing the way over a network of roads",
    "reading": "every column and mark of a plan and its sheets",
    "scenario": "every key and column of a scenario",
    "event": "every key and column of a parade's folder",
    "method": "the equations with their sources, the programme, the proof",
    "python": "the same from Python, step by step",
    "cautions": "what is not for haulplan to decide",
}
_NOTE: Final = re.compile(r"<!--.*?-->\n?", re.DOTALL)


def read_guide(name: str) -> str:
    """A guide's text.

    Parameters
    ----------
    name
        Of `GUIDES`.

    Returns
    -------
    text
        Markdown, without the notes to those who write it.

    Raises
    ------
    KeyError
        If there is no such guide.

    Examples
    --------
    >>> read_guide("cautions").splitlines()[0]
    '# Cautions'
    """
    if name not in GUIDES:
        raise KeyError(name)
    if name == "python":
        return _from_cells((_demos() / "first_plan.py").read_text(encoding="utf-8"))
    if name == "record":
        return (files("haulplan.period") / "RECORD.md").read_text(encoding="utf-8")
    text = (files("haulplan.guides") / f"{name}.md").read_text(encoding="utf-8")
    return _NOTE.sub("", text)


def _demos() -> Path:
    """Where the demos are: a wheel carries them, a clone keeps them at its top."""
    package = Path(str(files("haulplan")))
    carried = package / "demos"
    return carried if carried.is_dir() else package.parent / "scenarios"


def _from_cells(text: str) -> str:
    """A Python file in cells as Markdown: its notes as text, its code in blocks."""
    parts = []
    for cell in re.split(r"(?m)^# %%.*\n", text)[1:]:
        lines = cell.strip().splitlines()
        notes = [line.removeprefix("#").removeprefix(" ") for line in lines if line[:1] == "#"]
        code = "\n".join(line.partition("  # ")[0] for line in lines if line[:1] != "#").strip()
        parts.append("\n".join(notes) + (f"\n\n```python\n{code}\n```" if code else ""))
    return "\n\n".join(parts) + "\n"


def copy_demos(folder: Path) -> tuple[str, ...]:
    """Write the invented demos into a new folder.

    Parameters
    ----------
    folder
        Must not be there yet.

    Returns
    -------
    names
        Of the demos written, a folder for each.

    Raises
    ------
    InputError
        If the folder is there already or cannot be written.
    """
    if folder.exists():
        raise InputError(
            [Problem(file=str(folder), where="", found="already exists", remedy="give another")]
        )
    fresh = folder.with_name(f".{folder.name[:50]}.new-{secrets.token_hex(4)}")
    try:
        shutil.copytree(_demos(), fresh, ignore=shutil.ignore_patterns("__pycache__"))
        fresh.rename(folder)
    except OSError as error:
        shutil.rmtree(fresh, ignore_errors=True)
        found = f"cannot be written ({error.strerror or error})"
        remedy = "give a folder you may write to"
        raise InputError(
            [Problem(file=str(folder), where="", found=found, remedy=remedy)]
        ) from error
    return tuple(sorted(path.name for path in folder.iterdir() if path.is_dir()))
