"""`haulplan evidence`."""

import click

from haulplan.cli.running import debug_option, progress, show

__all__ = ["evidence"]


@click.command()
@debug_option
def evidence(debug: bool) -> None:
    """Set the steam model against published trials.

    They are trials it was not made from. Prints every case with the figure measured, the
    model's at typical figures, its band and the error, misses included. The assumptions of
    each case were written down before the first comparison.

    \b
    Example:
      haulplan evidence
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.evidence import compare_all  # noqa: PLC0415  lazy start
    from haulplan.outputs.evidence import render_evidence  # noqa: PLC0415  lazy start

    with progress() as say:
        say("reckoning the trials")
        comparisons = compare_all()
    show(render_evidence(comparisons))
