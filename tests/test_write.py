"""The output folder appears whole or stays as it was, whatever goes wrong."""

import errno
import os
import random
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from killing import kill_writers

from haulplan.errors import InputError
from haulplan.outputs.write import OUTPUT_NAMES, write_outputs

FILES: dict[str, str | bytes] = {"stops.csv": "stop,größe\n", "map.html": b"<html>\xff</html>"}
NEWER: dict[str, str | bytes] = {"plan.json": "{}\n"}


def snapshot(folder: Path) -> dict[str, bytes | None]:
    """Everything under a folder; None for folders, the goal for links."""
    found: dict[str, bytes | None] = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            found[name] = os.fsencode(path.readlink())
        else:
            found[name] = path.read_bytes() if path.is_file() else None
    return found


def holds(folder: Path, files: dict[str, Any]) -> bool:
    wanted = {n: c.encode() if isinstance(c, str) else c for n, c in files.items()}
    return snapshot(folder) == wanted


def fail_on_call(number: int, error: BaseException, real: Callable[..., Any]) -> Callable[..., Any]:
    """The real function, but for the call that fails."""
    calls = 0

    def call(*args: Any, **kwargs: Any) -> Any:  # noqa: ANN401  stands for any function
        nonlocal calls
        calls += 1
        if calls == number:
            raise error
        return real(*args, **kwargs)

    return call


def test_a_new_folder_holds_exactly_the_files_given(tmp_path: Path) -> None:
    write_outputs(tmp_path / "out", FILES, force=False)
    assert snapshot(tmp_path) == {
        "out": None,
        "out/map.html": b"<html>\xff</html>",
        "out/stops.csv": "stop,größe\n".encode(),
    }


def test_missing_parents_are_made(tmp_path: Path) -> None:
    write_outputs(tmp_path / "a" / "b" / "out", FILES, force=False)
    assert holds(tmp_path / "a" / "b" / "out", FILES)


def test_an_empty_folder_is_filled_without_force(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    write_outputs(tmp_path / "out", FILES, force=False)
    assert holds(tmp_path / "out", FILES)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_with_a_name_of_the_greatest_length_is_written(tmp_path: Path) -> None:
    name = "ü" * 120  # 240 bytes of the 255 that file systems allow
    write_outputs(tmp_path / name, FILES, force=False)
    write_outputs(tmp_path / name, NEWER, force=True)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_relative_path_is_taken_from_the_working_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_outputs(Path("out"), FILES, force=False)
    assert holds(tmp_path / "out", FILES)


def test_a_full_folder_is_refused_without_force_and_untouched(tmp_path: Path) -> None:
    write_outputs(tmp_path / "out", FILES, force=False)
    before = snapshot(tmp_path)
    with pytest.raises(InputError, match="already exists; give another --out or --force"):
        write_outputs(tmp_path / "out", NEWER, force=False)
    assert snapshot(tmp_path) == before


def test_force_replaces_what_was_written_before(tmp_path: Path) -> None:
    write_outputs(tmp_path / "out", FILES, force=False)
    write_outputs(tmp_path / "out", NEWER, force=True)
    assert snapshot(tmp_path) == {"out": None, "out/plan.json": b"{}\n"}


def test_force_may_be_given_where_nothing_stands_yet(tmp_path: Path) -> None:
    write_outputs(tmp_path / "out", FILES, force=True)
    assert holds(tmp_path / "out", FILES)


@pytest.mark.parametrize("name", sorted(OUTPUT_NAMES))
def test_force_replaces_every_file_haulplan_writes(tmp_path: Path, name: str) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / name).write_text("old")
    write_outputs(tmp_path / "out", NEWER, force=True)
    assert holds(tmp_path / "out", NEWER)


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX systems")
def test_a_replaced_folder_keeps_its_permissions(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out").chmod(0o2770)
    write_outputs(tmp_path / "out", FILES, force=False)
    assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == 0o2770


def _foreign_file(folder: Path) -> None:
    (folder / "diary.txt").write_text("mine")


def _foreign_folder(folder: Path) -> None:
    (folder / "plan.json").unlink()
    (folder / "plan.json").mkdir()


def _foreign_link(folder: Path) -> None:
    (folder / "plan.json").unlink()
    (folder / "plan.json").symlink_to(folder.parent)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        (_foreign_file, "diary.txt"), (_foreign_folder, "plan.json"), (_foreign_link, "plan.json"),
    ],
)  # fmt: skip
def test_force_refuses_a_folder_with_anything_foreign(
    tmp_path: Path, change: Callable[[Path], None], name: str
) -> None:
    write_outputs(tmp_path / "out", NEWER, force=False)
    change(tmp_path / "out")
    before = snapshot(tmp_path)
    with pytest.raises(InputError, match=f"holds '{name}', which haulplan did not write"):
        write_outputs(tmp_path / "out", NEWER, force=True)
    assert snapshot(tmp_path) == before


def test_a_file_that_comes_in_while_writing_is_not_deleted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_outputs(tmp_path / "out", FILES, force=False)
    real = os.fsync

    def fsync(handle: int) -> None:
        (tmp_path / "out" / "diary.txt").write_text("mine")
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(InputError, match=r"holds 'diary\.txt'"):
        write_outputs(tmp_path / "out", NEWER, force=True)
    assert holds(tmp_path / "out", {**FILES, "diary.txt": "mine"})
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_that_fills_while_writing_is_not_replaced_without_force(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "out").mkdir()
    real = os.fsync

    def fsync(handle: int) -> None:
        (tmp_path / "out" / "stops.csv").write_text("theirs")
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(InputError, match="already exists"):
        write_outputs(tmp_path / "out", FILES, force=False)
    assert holds(tmp_path / "out", {"stops.csv": "theirs"})


@pytest.mark.parametrize("force", [False, True])
def test_a_file_in_the_folders_place_is_refused(tmp_path: Path, *, force: bool) -> None:
    (tmp_path / "out").write_text("mine")
    with pytest.raises(InputError, match="is a file; give another --out, naming a folder"):
        write_outputs(tmp_path / "out", FILES, force=force)
    assert (tmp_path / "out").read_text() == "mine"


def test_a_file_among_the_parents_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    with pytest.raises(InputError, match=r"cannot be written .*; give another --out"):
        write_outputs(tmp_path / "file" / "deep" / "out", FILES, force=False)
    assert snapshot(tmp_path) == {"file": b"mine"}


def test_the_working_folder_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match="is the folder you are working in"):
        write_outputs(Path(), FILES, force=True)
    assert snapshot(tmp_path) == {}


def test_a_link_to_a_folder_is_kept_and_followed(tmp_path: Path) -> None:
    write_outputs(tmp_path / "real" / "out", FILES, force=False)
    (tmp_path / "link").symlink_to(Path("real") / "out")
    write_outputs(tmp_path / "link", NEWER, force=True)
    assert snapshot(tmp_path) == {
        "link": b"real/out",
        "real": None,
        "real/out": None,
        "real/out/plan.json": b"{}\n",
    }


@pytest.mark.parametrize("goal", ["nowhere", "out"])
def test_a_link_that_leads_nowhere_is_refused(tmp_path: Path, goal: str) -> None:
    (tmp_path / "out").symlink_to(goal)
    with pytest.raises(InputError, match=r"is a link that leads nowhere; remove it"):
        write_outputs(tmp_path / "out", FILES, force=True)
    assert snapshot(tmp_path) == {"out": goal.encode()}


def test_a_file_name_with_a_folder_in_it_is_a_mistake_of_the_caller(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"'\.\./x' is not a plain file name"):
        write_outputs(tmp_path / "new" / "out", {"../x": ""}, force=False)
    assert snapshot(tmp_path) == {}


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write everywhere"
)
def test_a_parent_that_may_not_be_written_is_refused(tmp_path: Path) -> None:
    (tmp_path / "closed").mkdir()
    (tmp_path / "closed").chmod(0o500)
    with pytest.raises(InputError, match="give an --out in a folder you may write to"):
        write_outputs(tmp_path / "closed" / "out", FILES, force=False)
    (tmp_path / "closed").chmod(0o700)
    assert snapshot(tmp_path) == {"closed": None}


@pytest.mark.parametrize(
    ("number", "remedy"),
    [
        (errno.EACCES, "give an --out in a folder you may write to"),
        (errno.EROFS, "give an --out in a folder you may write to"),
        (errno.ENOSPC, "free some room or give another --out"),
        (errno.EDQUOT, "free some room or give another --out"),
        (errno.EIO, "give another --out"),
    ],
)
def test_what_the_system_refuses_is_explained(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, remedy: str
) -> None:
    error = OSError(number, os.strerror(number))
    monkeypatch.setattr(Path, "mkdir", fail_on_call(1, error, Path.mkdir))
    with pytest.raises(InputError) as raised:
        write_outputs(tmp_path / "out", FILES, force=False)
    assert str(raised.value) == (
        f"{tmp_path / 'out'}: cannot be written ({os.strerror(number)}); {remedy}"
    )


@pytest.mark.skipif(os.name != "posix", reason="limits of POSIX systems")
def test_files_that_find_no_room_leave_nothing_behind(tmp_path: Path) -> None:
    script = (
        "import resource, sys; from pathlib import Path\n"
        "from haulplan.outputs.write import write_outputs\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (5000, 5000))\n"
        "files = {'stops.csv': 'x' * 4000, 'map.html': 'x' * 6000}\n"
        "write_outputs(Path(sys.argv[1]) / 'new' / 'out', files, force=False)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert "InputError" in done.stderr
    assert "free some room or give another --out" in done.stderr
    assert snapshot(tmp_path) == {}


#: The calls on which a folder that is replaced may be interrupted, by function and number.
STEPS = [
    (Path, "mkdir", 2), (Path, "open", 1), (Path, "open", 2), (Path, "chmod", 1),
    (Path, "rename", 1), (Path, "rename", 2), (os, "fsync", 1), (os, "fsync", 2),
]  # fmt: skip


@pytest.mark.parametrize(
    "error", [KeyboardInterrupt(), MemoryError(), OSError(errno.ENOSPC, "No room")], ids=repr
)
@pytest.mark.parametrize(("owner", "name", "number"), STEPS)
def test_a_failure_at_any_step_leaves_the_old_folder(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    owner: Any,  # noqa: ANN401  a class or a module
    name: str,
    number: int,
    error: BaseException,
) -> None:
    write_outputs(tmp_path / "out", NEWER, force=False)
    before = snapshot(tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(owner, name, fail_on_call(number, error, getattr(owner, name)))
        with pytest.raises((type(error), InputError)):
            write_outputs(tmp_path / "out", FILES, force=True)
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize("error", [KeyboardInterrupt(), OSError(errno.ENOSPC, "No room")], ids=repr)
@pytest.mark.parametrize(("owner", "name"), [(Path, "rename"), (Path, "open"), (os, "fsync")])
def test_a_failure_before_a_first_folder_leaves_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    owner: Any,  # noqa: ANN401  a class or a module
    name: str,
    error: BaseException,
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(owner, name, fail_on_call(1, error, getattr(owner, name)))
        with pytest.raises((type(error), InputError)):
            write_outputs(tmp_path / "new" / "deep" / "out", FILES, force=False)
    assert snapshot(tmp_path) == {}


def test_an_interrupt_just_after_the_exchange_leaves_the_new_folder_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_outputs(tmp_path / "out", NEWER, force=False)
    real = Path.rename

    def rename(self: Path, goal: Path) -> Path:
        moved = real(self, goal)
        if goal.name == "out":
            raise KeyboardInterrupt
        return moved

    with monkeypatch.context() as patch:
        patch.setattr(Path, "rename", rename)
        with pytest.raises(KeyboardInterrupt):
            write_outputs(tmp_path / "out", FILES, force=True)
    assert holds(tmp_path / "out", FILES)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_an_old_folder_that_cannot_be_removed_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_outputs(tmp_path / "out", NEWER, force=False)
    error = PermissionError(errno.EACCES, "Permission denied")
    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", fail_on_call(1, error, Path.unlink))
        with pytest.raises(InputError, match=r"is written, but .*; remove '.*out\.old-\w+'"):
            write_outputs(tmp_path / "out", FILES, force=True)
    assert holds(tmp_path / "out", FILES)


def test_a_killed_writer_leaves_folders_whole_or_absent(tmp_path: Path) -> None:
    assert kill_writers(tmp_path, 10, random.Random(20310614)) == []
