"""What the command line objects to, in the words of the house."""

import difflib
import re
from collections.abc import Iterable

import click

__all__ = ["complaint", "examples", "nearest"]


def nearest(word: str, known: Iterable[str]) -> str:
    """The question whether something near was meant.

    Parameters
    ----------
    word
        What was typed.
    known
        What may stand there.

    Returns
    -------
    question
        Empty where nothing is near.

    Examples
    --------
    >>> nearest("pln", ["plan", "phone"])
    ": did you mean 'plan'?"
    >>> nearest("zebra", ["plan", "phone"])
    ''
    """
    close = difflib.get_close_matches(word.casefold(), list(known), n=1)
    return f": did you mean '{close[0]}'?" if close else ""


def examples(command: click.Command) -> list[str]:
    """The commands that a help text shows.

    Parameters
    ----------
    command
        Of the command line.

    Returns
    -------
    lines
        Each begins with the program's name.
    """
    whole = re.sub(r"\\\n\s*", "", command.help or "")
    return re.findall(r"(?m)^\s*(haulplan .+?)\s*$", whole)


def complaint(error: click.ClickException) -> str:
    """What is wrong with the words of a command: found, allowed, and what to do.

    Parameters
    ----------
    error
        As click raised it.

    Returns
    -------
    line
        Without "error:".
    """
    context = error.ctx if isinstance(error, click.UsageError) else None
    if context is None:
        return error.format_message()
    if isinstance(error, click.NoSuchOption):
        known = [name for option in context.command.params for name in option.opts]
        hint = nearest(error.option_name, [*known, "--help"])
        hint = hint or f"; '{context.command_path} --help' lists them"
        return f"no option '{error.option_name}'{hint}"
    if isinstance(error, click.MissingParameter):
        return _missing(error, context)
    if isinstance(error, click.BadParameter) and error.param is not None:
        return _unfit(error, error.param, context)
    message = error.format_message().rstrip(".")
    ours = "; " in message or message.endswith("?") or message.startswith("give ")
    return message if ours else f"{message}; see '{context.command_path} --help'"


def _missing(error: click.MissingParameter, context: click.Context) -> str:
    shown = examples(context.command)
    remedy = f"give it, as in: {shown[0]}" if shown else f"see '{context.command_path} --help'"
    return f"{_name(error.param)} is missing; {remedy}"


def _unfit(error: click.BadParameter, param: click.Parameter, context: click.Context) -> str:
    kind, given = param.type, re.match(r"'?(.*?)'? is not ", error.message)
    if given is None:
        return f"{_name(param)}: {error.message.rstrip('.')}; see '{context.command_path} --help'"
    if isinstance(kind, click.Choice):
        choices = [str(choice) for choice in kind.choices]
        hint = nearest(given[1], choices).removeprefix(": ")
        allowed = f"{hint + ' ' if hint else ''}allowed: {', '.join(choices)}"
    elif isinstance(kind, (click.IntRange, click.FloatRange)):
        most = "" if kind.max is None else f" and at most {kind.max:,}"
        whole = "whole " if isinstance(kind, click.IntRange) else ""
        allowed = f"write a {whole}number of at least {kind.min:,}{most}"
    else:
        allowed = f"see '{context.command_path} --help'"
    return f"{_name(param)}: '{given[1]}' is not allowed; {allowed}"


def _name(param: click.Parameter | None) -> str:
    if param is None:
        return "an argument"
    if isinstance(param, click.Option):
        return max(param.opts, key=len)
    return str(param.human_readable_name).upper()
