"""The command line: arguments in, calls to the library, exit code out."""

import sys
import traceback
from collections.abc import Sequence

import click

from haulplan import __version__
from haulplan.cli.changes import changes
from haulplan.cli.check import check
from haulplan.cli.demand import demand
from haulplan.cli.evidence import evidence
from haulplan.cli.plan import plan
from haulplan.errors import HaulplanError

__all__ = ["cli", "main"]


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def cli() -> None:
    """Get a steam road engine and its train from A to B without running short.

    Water sets the stops, hills set the thirst. haulplan reads a scenario folder (road,
    engine, train, places with water or coal) and prints a stop plan.

    \b
    Example:
      haulplan plan scenarios/hobmere-penniford --out hobmere
    """  # noqa: D301  click reads the mark as it stands


for _command in (plan, check, demand, changes, evidence):
    cli.add_command(_command)


def _complain(text: str) -> None:
    for line in text.splitlines():
        clean = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)
        click.echo(f"error: {clean}", err=True)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit code.

    Parameters
    ----------
    arguments
        Words after the program's name; those of the process where None.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    debug = "--debug" in words
    try:
        code = cli.main(args=words, prog_name="haulplan", standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except click.ClickException as error:
        if isinstance(error, click.UsageError) and error.ctx is not None:
            click.echo(error.ctx.get_usage(), err=True)
        _complain(error.format_message())
        sys.exit(error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        _complain("interrupted; nothing was written")
        sys.exit(130)
    except HaulplanError as error:
        if debug:
            traceback.print_exc()
        _complain(str(error))
        sys.exit(error.exit_code)
    except Exception as error:  # noqa: BLE001  the last net: our own fault, said plainly
        if debug:
            traceback.print_exc()
        _complain(
            f"internal fault: {type(error).__name__}: {error}. Please report it with the "
            "scenario; --debug shows more"
        )
        sys.exit(3)
