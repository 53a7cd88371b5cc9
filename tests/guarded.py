"""Run haulplan under watch: which files it opened, whom it tried to reach, what it took.

Run one command in a process of its own:
python tests/guarded.py REPORT FOLDER plan FOLDER --units metric
"""

import json
import os
import resource
import sys
import sysconfig
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
#: The interpreter, its libraries and the program itself may be read.
_OWN = tuple(
    os.path.realpath(path)
    for path in (
        sys.prefix,
        sys.base_prefix,
        *sysconfig.get_paths().values(),
        str(TOP / "haulplan"),
    )
)
#: What the interpreter and the numeric libraries look at themselves.
_SYSTEM = (
    "/proc/", "/sys/", "/dev/", "/etc/localtime", "/etc/mime.types", "/usr/share/zoneinfo",
    "/etc/os-release",
)  # fmt: skip
#: A library asks so whether this machine knows the newer internet protocol; nothing is sent.
_IDLE = ("socket.__new__", "socket.bind")
_REACHING = (
    "socket.",
    "subprocess.",
    "os.system",
    "os.exec",
    "os.posix_spawn",
    "urllib.",
    "ftplib.",
)


@dataclass
class Sight:
    """What was seen while watching."""

    opened: list[str] = field(default_factory=list)
    reached: list[str] = field(default_factory=list)

    def outside(self, *folders: Path) -> list[str]:
        """Files opened that are neither the program's nor inside the folders."""
        allowed = (*_OWN, *(os.path.realpath(folder) for folder in folders))
        return [
            path
            for path in self.opened
            if not path.startswith(_SYSTEM)
            and not any(path == base or path.startswith(base + os.sep) for base in allowed)
        ]

    def calls(self) -> list[str]:
        """What was tried that leaves this machine or starts another program."""
        return [event for event in self.reached if event not in _IDLE]


_watching: list[Sight] = []


def _hook(event: str, arguments: tuple[object, ...]) -> None:
    if not _watching:
        return
    if event == "open" and isinstance(arguments[0], (str, bytes)):
        _watching[-1].opened.append(os.path.realpath(os.fsdecode(arguments[0])))
    elif event.startswith(_REACHING):
        _watching[-1].reached.append(event)


_hooked: list[bool] = []


@contextmanager
def watched() -> Iterator[Sight]:
    """Note every file opened, every socket and process asked for, while inside."""
    if not _hooked:
        sys.addaudithook(_hook)
        _hooked.append(True)
    sight = Sight()
    _watching.append(sight)
    try:
        yield sight
    finally:
        _watching.remove(sight)


def main() -> None:
    """Run the words after REPORT and FOLDER, and write down what happened."""
    report, folder, *words = sys.argv[1:]
    from haulplan.cli import main as haulplan

    code = -1
    with watched() as sight:
        try:
            haulplan(words)
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else -1
    seen = {
        "code": code,
        "seconds": time.process_time(),
        "megabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "outside": sight.outside(Path(folder)),
        "reached": sight.calls(),
    }
    Path(report).write_text(json.dumps(seen), encoding="utf-8")


if __name__ == "__main__":
    main()
