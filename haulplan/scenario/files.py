"""Read the files of a scenario: plain ones, of usual size, inside its folder."""

import difflib
import stat
from pathlib import Path

from haulplan.errors import InputError, Problem

__all__ = ["folder_fault", "inside", "read_bytes"]

#: Files that make a folder, and what takes it.
_TAKEN_BY = {
    "scenario.toml": "'haulplan plan'",
    "event.toml": "'haulplan stations'",
    "record.toml": "'haulplan reconstruct', with the file itself",
}


def folder_fault(folder: Path, wanted: str) -> Problem | None:
    """What is wrong with a folder before anything in it is read.

    Parameters
    ----------
    folder
        As it was given.
    wanted
        The file it must hold.

    Returns
    -------
    problem
        None where the folder is there and holds the file.

    Examples
    --------
    >>> print(folder_fault(Path("no/such/folder"), "scenario.toml"))
    no/such/folder: no such folder; give a folder that holds scenario.toml
    """
    found, remedy = "no such folder", f"give a folder that holds {wanted}"
    if folder.is_file():
        found, remedy = "a file, not a folder", f"give its folder: {folder.parent}"
    elif not folder.is_dir():
        siblings = sorted(p.name for p in folder.parent.iterdir()) if folder.parent.is_dir() else []
        close = difflib.get_close_matches(folder.name, siblings, n=1)
        remedy = (f"did you mean '{folder.parent / close[0]}'? " if close else "") + remedy
    elif (folder / wanted).exists():
        return None
    else:
        found, remedy = f"no {wanted} in it", _other_folder(folder, wanted)
    return Problem(file=str(folder), where="", found=found, remedy=remedy)


def _other_folder(folder: Path, wanted: str) -> str:
    """Which command takes this folder instead, or which folder in it holds the file."""
    for name, words in _TAKEN_BY.items():
        if name != wanted and (folder / name).is_file():
            return f"it holds {name}: use {words}"
    inner = sorted(path.parent.name for path in folder.glob(f"*/{wanted}"))
    if inner:
        return f"it holds folders with one: give {folder / inner[0]}"
    return f"give a folder that holds {wanted}"


def inside(path: Path, root: Path) -> bool:
    """Whether a path, its links followed, stays in a folder.

    Parameters
    ----------
    path
        The file.
    root
        The folder.

    Returns
    -------
    inside
        False too where links run in a circle.
    """
    try:
        return path.resolve().is_relative_to(root.resolve())
    except (OSError, RuntimeError):  # a circle of links
        return False


def read_bytes(path: Path, root: Path | None, most: int) -> bytes:
    """The content of a file that lies in the scenario's folder.

    Parameters
    ----------
    path
        The file.
    root
        The scenario's folder; a link that leads out of it is not followed. None where
        that was checked before.
    most
        A larger file is refused. [bytes]

    Returns
    -------
    content
        All of it.

    Raises
    ------
    InputError
        If it is missing, not a plain file, too large, or outside the folder.
    """
    try:
        if root is not None and not inside(path, root):
            found, remedy = "a link that leads out of the folder", "copy the file into the folder"
        elif not stat.S_ISREG(path.stat().st_mode):
            found, remedy = "not a plain file", "give a plain text file of usual size"
            if path.is_dir():
                found, remedy = "not a plain file but a folder", "name the file in it"
        elif path.stat().st_size > most:
            found, remedy = f"larger than {_size(most)}", "give a plain text file of usual size"
        else:
            return path.read_bytes()
    except OSError as error:
        found, remedy = error.strerror or "cannot be read", "put the file there, readable"
    raise InputError([Problem(file=path.name, where="", found=found, remedy=remedy)])


def _size(most: int) -> str:
    for unit, name in ((1024 * 1024, "MiB"), (1024, "KiB")):
        if most % unit == 0:
            return f"{most // unit} {name}"
    return f"{most} bytes"
