"""What the crew's sheets show besides the plan: section [sheet] of scenario.toml."""

from typing import Annotated

from pydantic import Field

from haulplan.scenario.fields import Date, Text, quantity
from haulplan.scenario.rows import Model

__all__ = ["Contact", "Sheet"]

_DAY = 86400.0


class Contact(Model):
    """Somebody to ring."""

    name: Text
    telephone: Text
    role: Text | None = None


class Sheet(Model):
    """The sheets' revision, contacts and conditions, and how clocks are widened.

    `slack` is the share of the driving time by which the later clock of a range is put off
    for traffic and pulling over. `ring_ahead` and `permit_ahead` are the days before the
    run by which owners are rung and permits asked for. Width and height are those of the
    widest and tallest vehicle.
    """

    revision: Text | None = None
    contacts: Annotated[tuple[Contact, ...], Field(max_length=20)] = ()
    go_no_go: Annotated[tuple[Text, ...], Field(max_length=12)] = ()
    carry: Annotated[tuple[Text, ...], Field(max_length=40)] = ()
    slack: Annotated[float, quantity("share", "0 %", "100 %")] = 0.10
    ring_ahead: Annotated[float, quantity("duration", "0 day", "365 day")] = 3 * _DAY
    permit_ahead: Annotated[float, quantity("duration", "0 day", "365 day")] = 14 * _DAY
    width: Annotated[float, quantity("length", "1 ft", "30 ft")] | None = None
    height: Annotated[float, quantity("length", "1 ft", "30 ft")] | None = None
    certificate_expires: Date | None = None
    insurance_expires: Date | None = None
