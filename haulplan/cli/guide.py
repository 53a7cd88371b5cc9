"""`haulplan guide`."""

from typing import TYPE_CHECKING

import click

from haulplan.cli.running import debug_option
from haulplan.cli.wording import nearest

if TYPE_CHECKING:
    from haulplan.guides.keys import Key

__all__ = ["guide"]

_PLACES = {"event/bridges.csv": "bridges.csv of an event"}


@click.command()
@click.argument("name", required=False)
@debug_option
def guide(name: str | None, debug: bool) -> None:
    """Read a guide, or look up a key of a scenario.

    Without NAME the guides are listed. NAME is a guide, or a key as 'stores.tank', a
    column as 'supply.lift', a section or table as 'hours' or 'supply.csv', or a bare
    word, which may stand in several.

    \b
    Example:
      haulplan guide
      haulplan guide crew
      haulplan guide stores.tank
      haulplan guide supply.csv
    """  # noqa: D301  click reads the mark as it stands
    from haulplan.guides import GUIDES, read_guide  # noqa: PLC0415  lazy start

    if name is None:
        width = max(map(len, GUIDES))
        lines = [f"  {one:{width}}  {about}" for one, about in GUIDES.items()]
        _print("\n".join(["Guides: haulplan guide NAME", *lines]))
        return
    if name in GUIDES:
        _print_markdown(read_guide(name))
        return
    from haulplan.guides.keys import find_keys, sections  # noqa: PLC0415  lazy start

    found = find_keys(name)
    if not found:
        known = [key.full_name for section in sections() for key in section.keys]
        hint = nearest(name, [*GUIDES, *known]) or "; 'haulplan guide' lists the guides"
        raise click.UsageError(f"no guide and no key '{name}'{hint}", click.get_current_context())
    _print("\n\n".join(map(_told, found)))


def _told(key: "Key") -> str:
    """What is known of a key, line by line."""
    place = "column of" if key.section.endswith(".csv") else "in"
    section = _PLACES.get(key.section, key.section)
    if not section.endswith((".csv", ".toml", "event")):
        of_event = section.partition(".")[0] in {"procession", "service", "chances", "anywhere"}
        section = f"[{section}] of {'event' if of_event else 'scenario'}.toml"
    default = {"-": "nothing stands for it", "needed": "refused: it is needed"}.get(
        key.default, key.default
    )
    return "\n".join(
        (
            f"{key.full_name}  ({place} {section})",
            f"  {key.says}",
            f"  takes       {key.takes}",
            f"  example     {key.name} = {key.example}"
            if not key.section.endswith(".csv")
            else f"  example     {key.example}",
            f"  if left out {default}",
        )
    )


def _print(text: str) -> None:
    from haulplan.cli.running import console  # noqa: PLC0415  lazy start

    console().print(text, markup=False, soft_wrap=True)


def _print_markdown(text: str) -> None:
    """Set on a terminal; as it is written where it is passed on."""
    from haulplan.cli.running import console  # noqa: PLC0415  lazy start

    page = console()
    if not page.is_terminal:
        _print(text.rstrip())
        return
    from rich.markdown import Markdown  # noqa: PLC0415  lazy start

    page.print(Markdown(text))
