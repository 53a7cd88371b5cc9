"""Write a plan's folder whole or not at all."""

import contextlib
import errno
import os
import secrets
import stat
from collections.abc import Iterator, Mapping, Set
from pathlib import Path
from typing import Final

from haulplan.errors import InputError, Problem

__all__ = ["OUTPUT_NAMES", "check_outputs", "write_folders", "write_outputs"]

#: Files haulplan writes; a folder that holds anything else is never replaced.
OUTPUT_NAMES: Final = frozenset(
    {
        "dip-strip.html", "legs.csv", "lists.html", "map.html", "plan.geojson", "plan.gpx",
        "plan.ics",
        "plan.json", "plan.xlsx", "profile.svg", "return-run.html",
        "run-sheet.html", "station-keeper.html", "steersman.html", "stops.csv",
        "support-driver.html", "tail-car.html",
    }
)  # fmt: skip

_ELSEWHERE: Final = "give another --out"
_FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_FORBIDDEN: Final = frozenset({errno.EACCES, errno.EPERM, errno.EROFS})


def check_outputs(folder: Path, ours: Set[str], *, force: bool) -> None:
    """Refuse a folder that `write_outputs` would refuse, before anything is reckoned.

    Parameters
    ----------
    folder
        Where files shall be.
    ours
        Names that may be replaced.
    force
        Whether to replace them.

    Raises
    ------
    InputError
        If the folder may not be replaced.
    """
    with _explained(folder):
        target = _real(folder)
        if _exists(target):
            _check(target, folder, frozenset(ours), force=force)


def write_outputs(
    folder: Path,
    files: Mapping[str, str | bytes],
    *,
    force: bool,
    ours: Set[str] = OUTPUT_NAMES,
) -> None:
    """Write files into a folder that appears complete or stays as it was.

    Everything is written into a new folder beside the wanted one, brought to the disk and
    then renamed. A process killed outright may leave that folder, named after the wanted
    one with ".new-", and for an instant the old one under a name with ".old-".

    Parameters
    ----------
    folder
        Where the files shall be; missing parents are made. A link to a folder is kept
        and the folder it leads to replaced.
    files
        Text (written as UTF-8) or bytes by plain file name.
    force
        Whether to replace a folder that holds files haulplan wrote earlier.
    ours
        Names of such files, besides those written now.

    Raises
    ------
    InputError
        If the folder may not be replaced or written; nothing is left behind then.
    """
    replaced = frozenset(ours | files.keys())
    with _explained(folder):
        target = _real(folder)
        there = _exists(target)
        if there:
            _check(target, folder, replaced, force=force)
        token = secrets.token_hex(4)
        # File systems allow 255 bytes to a name: fifty letters are at most 200.
        fresh = target.with_name(f".{target.name[:50]}.new-{token}")
        old = target.with_name(f"{target.name[:50]}.old-{token}")
        with _parents_made(target.parent):
            try:
                _fill(fresh, files, mode=stat.S_IMODE(target.stat().st_mode) if there else None)
                with _put_aside(target, old) if there else contextlib.nullcontext():
                    if there:  # what came in since the first look must not be deleted
                        _check(old, folder, replaced, force=force)
                    fresh.rename(target)
                _bring_to_disk(target.parent)
            finally:
                _remove(fresh)
                if target.exists() and _exists(old):
                    _drop(old, folder, replaced)


def write_folders(folder: Path, folders: Mapping[str, Mapping[str, str]]) -> None:
    """Write a new folder of folders, whole or not at all.

    Parameters
    ----------
    folder
        Must not exist; missing parents are made.
    folders
        Text by file name, by plain folder name.

    Raises
    ------
    InputError
        If the folder is there or cannot be written; nothing is left behind then.
    """
    with _explained(folder):
        if _exists(folder):
            raise _refusal(folder, "already exists", "give another folder")
        fresh = folder.with_name(f".{folder.name[:50]}.new-{secrets.token_hex(4)}")
        with _parents_made(folder.parent):
            try:
                fresh.mkdir()
                for name, files in folders.items():
                    if Path(name).name != name:
                        raise ValueError(f"'{name}' is not a plain folder name")
                    _fill(fresh / name, files, mode=None)
                fresh.rename(folder)
                _bring_to_disk(folder.parent)
            finally:
                if fresh.exists():
                    for inner in list(fresh.iterdir()):
                        _remove(inner)
                    fresh.rmdir()


@contextlib.contextmanager
def _explained(folder: Path) -> Iterator[None]:
    """Turn the system's refusals into an error that says what to do."""
    try:
        yield
    except OSError as error:
        if error.errno in _FULL:
            remedy = f"free some room or {_ELSEWHERE}"
        elif error.errno in _FORBIDDEN:
            remedy = "give an --out in a folder you may write to"
        else:
            remedy = _ELSEWHERE
        raise _refusal(folder, f"cannot be written ({error.strerror or error})", remedy) from error


def _refusal(folder: Path, found: str, remedy: str) -> InputError:
    return InputError([Problem(file=str(folder), where="", found=found, remedy=remedy)])


def _exists(path: Path) -> bool:
    """Whether anything has this name, be it a link that leads nowhere."""
    return os.path.lexists(path)


def _real(folder: Path) -> Path:
    """The folder's true place: a rename would replace a link, not what it leads to."""
    if folder.is_symlink() and not folder.exists():
        raise _refusal(folder, "is a link that leads nowhere", f"remove it or {_ELSEWHERE}")
    target = Path(os.path.realpath(folder))
    if _exists(target) and not target.is_dir():
        raise _refusal(folder, "is a file", f"{_ELSEWHERE}, naming a folder")
    with contextlib.suppress(FileNotFoundError):
        if Path.cwd().is_relative_to(target):
            raise _refusal(folder, "is the folder you are working in", f"{_ELSEWHERE} inside it")
    return target


def _check(there: Path, folder: Path, ours: frozenset[str], *, force: bool) -> None:
    """Refuse to replace what is not ours, or is and was not given up."""
    entries = sorted(there.iterdir())
    if entries and not force:
        raise _refusal(folder, "already exists", f"{_ELSEWHERE} or --force")
    for entry in entries:
        if entry.name not in ours or not stat.S_ISREG(entry.lstat().st_mode):
            found = f"holds '{entry.name}', which haulplan did not write"
            raise _refusal(folder, found, _ELSEWHERE)
    if not os.access(there, os.W_OK | os.X_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))


@contextlib.contextmanager
def _parents_made(parent: Path) -> Iterator[None]:
    """Make the missing parents; unmake them if what follows fails."""
    missing = [path for path in (parent, *parent.parents) if not _exists(path)]
    try:
        parent.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException:
        for path in missing:
            with contextlib.suppress(OSError):
                path.rmdir()
        raise


def _fill(fresh: Path, files: Mapping[str, str | bytes], *, mode: int | None) -> None:
    """A new folder holding the files, on the disk, with the old folder's permissions."""
    fresh.mkdir()
    for name, content in files.items():
        if Path(name).name != name:
            raise ValueError(f"'{name}' is not a plain file name")
        with (fresh / name).open("xb") as file:
            file.write(content.encode() if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
    if mode is not None:
        fresh.chmod(mode)
    _bring_to_disk(fresh)


def _bring_to_disk(folder: Path) -> None:
    """Make the folder's names survive a power cut, where the system can."""
    if os.name != "posix":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def _put_aside(target: Path, old: Path) -> Iterator[None]:
    """Rename the old folder out of the way; put it back if what follows fails."""
    try:
        target.rename(old)
        yield
    except BaseException:
        if _exists(old) and not _exists(target):
            old.rename(target)
        raise


def _remove(fresh: Path) -> None:
    """Remove our own unfinished folder, if it is still there."""
    if not fresh.exists():
        return
    for entry in list(fresh.iterdir()):
        entry.unlink()
    fresh.rmdir()


def _drop(old: Path, folder: Path, ours: frozenset[str]) -> None:
    """Delete the folder that was replaced, file by file; anything else in it stays."""
    try:
        for entry in list(old.iterdir()):
            if entry.name in ours:
                entry.unlink()
        old.rmdir()
    except OSError as error:
        raise _refusal(
            folder,
            f"is written, but the old folder could not be removed ({error.strerror})",
            f"remove '{old}'",
        ) from error
