"""Write what was learned into the engine's own file, whole or not at all."""

import contextlib
import os
import re
import stat
import tempfile
import tomllib
from pathlib import Path

from haulplan.errors import InputError, InternalError, Problem
from haulplan.underway.learn import Fit
from haulplan.underway.recorded import Lessons

__all__ = ["factor_lines", "keep_lessons", "with_factors", "write_new"]


def factor_lines(lessons: Lessons) -> dict[str, str]:
    """The lines of scenario.toml that hold what was learned.

    Parameters
    ----------
    lessons
        Of water, coal or both.

    Returns
    -------
    lines
        By key of [engine].
    """
    fits: dict[str, Fit | None] = {"water_factor": lessons.water, "coal_factor": lessons.coal}
    return {
        key: f"{key} = {{ typical = {fit.factor.typical:.3f}, spread = {fit.next_run:.3f} }}"
        for key, fit in fits.items()
        if fit is not None
    }


def with_factors(text: str, lessons: Lessons) -> str:
    """The text of a scenario.toml with the learned factors in [engine].

    Parameters
    ----------
    text
        As it stands.
    lessons
        Of water, coal or both.

    Returns
    -------
    text
        The same but for `water_factor` and `coal_factor`: comments and order are kept.

    Raises
    ------
    InputError
        If there is no [engine] to write into.
    """
    lines = (text if text.endswith("\n") else text + "\n").splitlines(keepends=True)
    heads = [k for k, line in enumerate(lines) if re.match(r"\s*\[\s*engine\s*\]", line)]
    if len(heads) != 1:
        raise _refusal("no section [engine]", "write it as a section of its own, or", lessons)
    begin = heads[0] + 1
    end = next((k for k in range(begin, len(lines)) if re.match(r"\s*\[", lines[k])), len(lines))
    while end > begin and re.fullmatch(r"\s*(#.*)?", lines[end - 1].rstrip("\r\n")):
        end -= 1
    mark = "\r\n" if lines[heads[0]].endswith("\r\n") else "\n"
    own = lines[begin:end]
    for key, line in factor_lines(lessons).items():
        at = [k for k, old in enumerate(own) if re.match(rf"\s*{key}\s*=", old)]
        if at:
            comment = re.search(r"\}\s*(#.*)?$", own[at[0]].rstrip("\r\n"))
            kept = f"  {comment[1]}" if comment is not None and comment[1] else ""
            own[at[0]] = f"{line}{kept}{mark}"
        else:
            own.append(f"{line}  # from its logs, by haulplan learn{mark}")
    return "".join([*lines[:begin], *own, *lines[end:]])


def _refusal(found: str, remedy: str, lessons: Lessons) -> InputError:
    by_hand = "; ".join(factor_lines(lessons).values())
    words = f"{remedy} write by hand under engine: {by_hand}".strip()
    return InputError([Problem(file="scenario.toml", where="", found=found, remedy=words)])


def keep_lessons(path: Path, lessons: Lessons) -> None:
    """Put the learned factors into a scenario.toml.

    Parameters
    ----------
    path
        The file; a link is followed.
    lessons
        What to keep.

    Raises
    ------
    InputError
        If it cannot be written; it then stands as it was.
    """
    if not factor_lines(lessons):
        raise _refusal(
            "nothing learned to keep", "the logs hold no reading that can be used;", lessons
        )
    target = Path(os.path.realpath(path))
    try:
        old = target.read_bytes().decode("utf-8")
        new = with_factors(old, lessons)
        _check_same(old, new)
        _replace(target, new.encode("utf-8"), stat.S_IMODE(target.stat().st_mode))
    except OSError as error:
        found = f"cannot be written ({error.strerror or error})"
        raise _refusal(found, "", lessons) from error


def _check_same(old: str, new: str) -> None:
    """Nothing but the factors may have changed."""
    before, after = tomllib.loads(old), tomllib.loads(new)
    for document in (before, after):
        for name in ("water_factor", "coal_factor"):
            document["engine"].pop(name, None)
    if before != after:
        raise InternalError("rewriting scenario.toml would change more than the factors")


def write_new(path: Path, text: str) -> None:
    """Write one new file, whole or not at all.

    Parameters
    ----------
    path
        Where; never replaced.
    text
        Written as UTF-8.

    Raises
    ------
    InputError
        If it is there already or cannot be written.
    """
    try:
        if os.path.lexists(path):
            raise FileExistsError(0, "is there already")
        _replace(path, text.encode("utf-8"), mode=0o644)
    except OSError as error:
        problem = Problem(
            file=str(path), where="", found=error.strerror or str(error), remedy="give another name"
        )
        raise InputError([problem]) from error


def _replace(target: Path, data: bytes, mode: int) -> None:
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:50]}.new-")
    fresh = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        fresh.chmod(mode)
        fresh.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            fresh.unlink()
        raise
