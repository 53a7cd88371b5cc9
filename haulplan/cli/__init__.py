"""The command line: arguments in, calls to the library, exit code out."""

import contextlib
import importlib
import io
import os
import signal
import sys
import threading
import traceback
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import click

from haulplan import __version__
from haulplan.cli.group import Group
from haulplan.cli.wording import complaint
from haulplan.errors import HaulplanError

__all__ = ["COMMANDS", "cli", "main"]

#: Every command by what it is for. To add one: its module's name here, and in that module a
#: function of the same name. Importing all of them takes 4 ms of the 70 that --help takes,
#: since each loads what it needs when it is called.
COMMANDS: Final[Mapping[str, Sequence[str]]] = {
    "Before the run": (
        "begin",
        "check",
        "plan",
        "demand",
        "ways",
        "compare",
        "changes",
        "drill",
        "phone",
    ),
    "On the road, and after": ("revise", "learn"),
    "Past trips and parades": ("reconstruct", "stations"),
    "About haulplan": ("guide", "demos", "evidence"),
}


@click.group(cls=Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def cli() -> None:
    """Get a steam road engine and its train from A to B without running short.

    Water sets the stops, hills set the thirst. haulplan reads a scenario folder (road,
    engine, train, places with water or coal) and prints a stop plan.

    New here: 'haulplan guide crew', ten minutes from nothing to paper.

    \b
    Example:
      haulplan plan scenarios/hobmere-penniford --out hobmere
    """  # noqa: D301  click reads the mark as it stands


for _heading, _names in COMMANDS.items():
    for _name in _names:
        cli.add_command(getattr(importlib.import_module(f"haulplan.cli.{_name}"), _name))
        cli.headings[_name] = _heading


def _complain(text: str) -> None:
    for line in text.splitlines():
        clean = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)
        click.echo(f"error: {clean}", err=True)


@contextlib.contextmanager
def _heedful() -> Iterator[list[int]]:
    """Print what the terminal can, and take a shutdown for what Ctrl-C is."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name in letters the terminal lacks

    stopped: list[int] = []  # a library being loaded may turn the interruption into its own fault

    def stop(number: int, _: object) -> None:
        stopped.append(number)
        raise KeyboardInterrupt

    names = [getattr(signal, name, None) for name in ("SIGINT", "SIGTERM", "SIGHUP")]
    main_thread = threading.current_thread() is threading.main_thread()
    before = {
        number: signal.signal(number, stop)
        for number in names
        # whoever started us may have told us not to heed it, as nohup does
        if number is not None and main_thread and signal.getsignal(number) != signal.SIG_IGN
    }
    try:
        yield stopped
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _fail(error: BaseException) -> int:
    """Say what went wrong; the exit code."""
    if isinstance(error, click.ClickException):
        if isinstance(error, click.UsageError) and error.ctx is not None:
            click.echo(error.ctx.get_usage(), err=True)
        _complain(complaint(error))
        return error.exit_code
    if isinstance(error, (click.Abort, KeyboardInterrupt)):
        first = error.__cause__ or error  # click wraps it
        _complain(f"interrupted; {first if first.args else 'nothing was written'}")
        return 130
    if isinstance(error, HaulplanError):
        _complain(str(error))
        return error.exit_code
    if isinstance(error, BrokenPipeError):  # whoever read has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141
    if isinstance(error, ImportError):
        _complain(f"a part is missing ({error}); install it: python -m pip install haulplan")
    elif isinstance(error, MemoryError):
        _complain("out of memory; give a shorter road or fewer rows, or free some memory")
    elif isinstance(error, OSError):
        _complain(f"the system refused ({error.strerror or error}); free some room or try again")
    else:
        _complain(
            f"internal fault: {type(error).__name__}: {error}. Please report it with the "
            "scenario; --debug shows more"
        )
    return 3


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit code.

    Parameters
    ----------
    arguments
        Words after the program's name; those of the process where None.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    with _heedful() as stopped:
        try:
            code = cli.main(args=words or ["--help"], prog_name="haulplan", standalone_mode=False)
            if sys.stdout is not None:  # None where it was closed from outside
                sys.stdout.flush()
        except (Exception, KeyboardInterrupt) as error:  # noqa: BLE001  the last net
            if "--debug" in words and not isinstance(error, click.ClickException):
                traceback.print_exc()
            told = isinstance(error, (HaulplanError, KeyboardInterrupt, click.Abort))
            sys.exit(_fail(KeyboardInterrupt() if stopped and not told else error))
    sys.exit(code if isinstance(code, int) else 0)
