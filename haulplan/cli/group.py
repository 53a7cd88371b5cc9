"""The group of commands: in the order of the work, under headings."""

from typing import Any

import click

from haulplan.cli.wording import nearest

__all__ = ["Group"]


class Group(click.Group):
    """Commands as they were added, each under a heading; a slip of the pen is answered."""

    def __init__(self, *given: Any, **named: Any) -> None:  # noqa: ANN401  as click has it
        super().__init__(*given, **named)
        self.headings: dict[str, str] = {}

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names, in the order of the work."""
        return list(self.commands)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write each heading with its commands."""
        room = formatter.width - 6 - max(map(len, self.commands), default=0)
        for heading in dict.fromkeys(self.headings.values()):
            rows = [
                (name, command.get_short_help_str(room))
                for name, command in self.commands.items()
                if self.headings.get(name) == heading
            ]
            with formatter.section(heading):
                formatter.write_dl(rows)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that the first word names."""
        word = args[0]
        if word not in self.commands and not word.startswith("-"):
            hint = nearest(word, self.commands) or f"; '{ctx.info_name} --help' lists them"
            raise click.UsageError(f"no command '{word}'{hint}", ctx)
        return super().resolve_command(ctx, args)
