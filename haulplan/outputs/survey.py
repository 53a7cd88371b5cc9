"""The demand of a road on the terminal and as CSV: stretches, hills, crests, totals."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from haulplan.demand.glass import Crest
from haulplan.demand.hills import Descent, Hill
from haulplan.demand.stretches import PROCESSION, Stretch, Survey
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.tables import Cell, frame_of, plain, rounded, to_csv
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.units import DisplayUnit, UnitSystem

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console, ConsoleOptions, Group, RenderableType
    from rich.table import Table

__all__ = ["hills_frame", "render_survey", "stretches_csv", "stretches_frame", "survey_outputs"]

_HORSEPOWER = 745.6998715822702
_INCH = 0.0254
#: Columns left out of the table of stretches: for wide terminals, for 80 columns, and less.
_LEFT_OUT = (
    ("to",),
    ("to", "after", "fall", "grade"),
    ("to", "after", "fall", "grade", "held by"),
    ("to", "after", "fall", "grade", "held by", "power", "climb"),
)
#: Columns of words, and how many letters of them are shown.
_WORDS = ("after", "surface", "gear", "held by")
_WIDEST = {"after": 20, "surface": 12, "gear": 7}


def stretches_frame(survey: Survey, system: UnitSystem) -> "pd.DataFrame":
    """One row for each stretch, units in the headers.

    Parameters
    ----------
    survey
        Of the road.
    system
        The units to show.

    Returns
    -------
    frame
        Rounded as shown.
    """
    return frame_of([_stretch_row(stretch, system) for stretch in survey.stretches])


def stretches_csv(survey: Survey, system: UnitSystem) -> str:
    """`stretches_frame` as CSV text.

    Parameters
    ----------
    survey
        Of the road.
    system
        The units to show.

    Returns
    -------
    text
        A header row and one row for each stretch.
    """
    return to_csv(stretches_frame(survey, system))


def hills_frame(survey: Survey, system: UnitSystem) -> "pd.DataFrame":
    """One row for each hill with its price above a level road.

    Parameters
    ----------
    survey
        Of the road.
    system
        The units to show.

    Returns
    -------
    frame
        Rounded as shown.
    """
    return frame_of(
        [_hill_row(number, hill, system) for number, hill in enumerate(survey.hills, start=1)]
    )


def render_survey(scenario: Scenario, route: Route, survey: Survey, system: UnitSystem) -> "Group":
    """The demand of a road for a terminal of at least 80 columns; wider ones show more.

    Parameters
    ----------
    scenario, route
        What was surveyed.
    survey
        Its demand.
    system
        The units to show.

    Returns
    -------
    page
        What rich prints.
    """
    from rich.console import Group  # noqa: PLC0415  slow to load
    from rich.text import Text  # noqa: PLC0415

    def listed(words: Sequence[str]) -> "list[RenderableType]":
        return [_hanging(word) for word in words]

    def heading(words: str) -> Text:
        return Text(words, style="bold")

    parts: list[RenderableType] = [heading(plain(scenario.file.title))]
    parts += [Text(plain(line)) for line in _opening(route, survey, system)]
    parts += [Text(), _totals_table(survey, system), Text()]
    parts += [*listed(_besides(survey, system)), Text()]
    if survey.warnings:
        parts += [heading("Warnings"), *listed(survey.warnings), Text()]
    parts += [heading("Stretches"), _stretch_table(survey, system), Text()]
    if survey.hills:
        parts += [heading("The price of each hill, above a level road")]
        parts += [_hill_table(survey, system), Text()]
    if survey.descents:
        parts += [heading("Nobody stops on these descents: lowest gear from the top")]
        parts += [*listed([_descent(descent, system) for descent in survey.descents]), Text()]
    if survey.crests:
        parts += [heading("Water glass over the crests")]
        parts += [*listed([_crest(crest, system) for crest in survey.crests]), Text()]
    parts += [heading("Cautions"), *listed(CAUTIONS)]
    return Group(*parts)


def survey_outputs(
    scenario: Scenario, route: Route, survey: Survey, system: UnitSystem
) -> dict[str, str]:
    """Every file of a survey by its name.

    Parameters
    ----------
    scenario, route
        What was surveyed.
    survey
        Its demand.
    system
        The units to show.

    Returns
    -------
    files
        Text by file name.
    """
    from haulplan.outputs.charts import draw_demand  # noqa: PLC0415  slow to load

    return {
        "stretches.csv": stretches_csv(survey, system),
        "hills.csv": to_csv(hills_frame(survey, system)),
        "demand.svg": draw_demand(scenario, route, survey, system),
    }


def _opening(route: Route, survey: Survey, system: UnitSystem) -> list[str]:
    mood = "typical figures"
    if survey.pessimism is not None:
        mood = f"figures at {100 * survey.pessimism:.0f} % pessimism"
    return [
        f"{system.distance.text(route.length)}, {system.mass.text(survey.aboard)} of water and "
        f"coal aboard all the way, {mood}"
    ]


def _totals_table(survey: Survey, system: UnitSystem) -> "Table":
    """The road's totals: as reckoned here, and typical with their band."""
    table = _table(("Under way", "Here", "Typical", "Nine times in ten"), ("Under way",))
    minutes = DisplayUnit(label="min", size=60.0, decimals=0)
    stretches = survey.stretches
    for name, here, band, unit in (
        ("Water", sum(s.water for s in stretches), survey.water, system.water),
        ("Coal", sum(s.coal for s in stretches), survey.coal, system.coal),
        ("Driving", sum(s.duration for s in stretches), survey.duration, minutes),
    ):
        ends = f"{unit.number(band.low)} to {unit.number(band.high)}"
        table.add_row(f"{name} [{unit.label}]".replace("[", "\\["), unit.number(here),
                      unit.number(band.typical), ends)  # fmt: skip
    return table


def _besides(survey: Survey, system: UnitSystem) -> list[str]:
    water, coal = system.water, system.coal
    ratio = survey.water.typical / survey.coal.typical

    def hourly(of_water: float, of_coal: float) -> str:
        return f"{water.text(3600 * of_water)} of water, {coal.text(3600 * of_coal)} of coal"

    return [
        f"{ratio:.1f} of water to 1 of coal by weight",
        f"Of the coal, cleaning the fire: {coal.text(survey.cleaning_coal)}",
        f"Lighting up {coal.text(survey.lighting_up_coal)}, a banked night "
        f"{coal.text(survey.banking_coal)} of coal",
        f"An hour standing in steam: {hourly(survey.standing_water, survey.standing_coal)}",
        f"An hour at {system.speed.text(PROCESSION)} in procession, on the level: "
        f"{hourly(survey.procession_water, survey.procession_coal)}",
        f"The boiler's best: {water.text(3600 * survey.best_steam)} of water an hour",
        f"Most pull in the lowest gear {system.pull.text(survey.full_pull)}; grip "
        f"{system.pull.text(survey.grip_pull)}",
    ]


def _hanging(words: str) -> "Table":
    """An item whose further lines stand under its first."""
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    table = Table.grid(padding=0)
    table.add_column(width=3, no_wrap=True)
    table.add_column()
    table.add_row(" - ", Text(plain(words)))
    return table


def _descent(descent: Descent, system: UnitSystem) -> str:
    distance = system.distance
    return (
        f"{distance.number(descent.begin)} to {distance.text(descent.end)}: down "
        f"{system.height.text(descent.fall)}, steepest {100 * descent.steepest:.1f} % "
        f"(1 in {1 / descent.steepest:.0f})"
    )


def _stretch_row(stretch: Stretch, system: UnitSystem) -> dict[str, Cell]:
    distance, height, water, coal = system.distance, system.height, system.water, system.coal
    return {
        f"from [{distance.label}]": rounded(distance, stretch.begin),
        f"to [{distance.label}]": rounded(distance, stretch.end),
        "after": plain(stretch.name),
        f"climb [{height.label}]": rounded(height, stretch.climb),
        f"fall [{height.label}]": rounded(height, stretch.descent),
        "grade [%]": round(100 * stretch.grade, 1) + 0.0,
        "surface": stretch.surface,
        "gear": plain(stretch.gear),
        f"speed [{system.speed.label}]": rounded(system.speed, stretch.speed),
        f"pull [{system.pull.label}]": rounded(system.pull, stretch.pull),
        "power [ihp]": round(stretch.power / _HORSEPOWER, 1) + 0.0,
        f"steam [{coal.label}/h]": rounded(coal, 3600 * stretch.steam),
        f"water [{water.label}]": rounded(water, stretch.water),
        f"coal [{coal.label}]": rounded(coal, stretch.coal),
        "time [min]": round(stretch.duration / 60, 1) + 0.0,
        "held by": stretch.limit,
    }


def _hill_row(number: int, hill: Hill, system: UnitSystem) -> dict[str, Cell]:
    distance, height, water, coal = system.distance, system.height, system.water, system.coal
    return {
        "hill": number,
        f"at [{distance.label}]": rounded(distance, hill.begin),
        f"length [{distance.label}]": rounded(distance, hill.length),
        f"rise [{height.label}]": rounded(height, hill.rise),
        "steepest [%]": round(100 * hill.steepest, 1) + 0.0,
        f"water [{water.label}]": rounded(water, hill.water),
        f"coal [{coal.label}]": rounded(coal, hill.coal),
        "time [min]": round(hill.duration / 60, 1) + 0.0,
        "restarts": "yes" if hill.restarts else "no",
    }


def _table(titles: Sequence[str], left: Iterable[str]) -> "Table":
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    names = set(left)
    table = Table(box=SIMPLE_HEAD, padding=0, show_edge=False, header_style="bold")
    for title in titles:
        table.add_column(title, justify="left" if title in names else "right", no_wrap=True)
    return table


@dataclass(frozen=True, kw_only=True)
class _Roomiest:
    """The first of several tables that fits the terminal whole, else the last."""

    tables: "Sequence[Table]"

    def __rich_console__(self, console: "Console", options: "ConsoleOptions") -> "Iterator[Table]":
        endless = options.update(width=10_000)
        for table in self.tables:
            if console.measure(table, options=endless).maximum <= options.max_width:
                yield table
                return
        yield self.tables[-1]


def _stretch_table(survey: Survey, system: UnitSystem) -> _Roomiest:
    """Every column where there is room, else those that matter most."""
    return _Roomiest(tables=[_stretches(survey, system, out) for out in _LEFT_OUT])


def _stretches(survey: Survey, system: UnitSystem, leave_out: Sequence[str]) -> "Table":
    from rich.text import Text  # noqa: PLC0415

    rows = [_stretch_row(stretch, system) for stretch in survey.stretches]
    kept = [name for name in rows[0] if name.partition(" [")[0] not in leave_out]
    table = _table([_heading(name) for name in kept], map(_heading, _WORDS))
    for row in rows:
        table.add_row(*(Text(_cell(row[name])[: _WIDEST.get(name)]) for name in kept))
    return table


def _heading(name: str) -> str:
    """A column's title over its unit, or in two lines."""
    words, _, unit = name.partition(" [")
    first, _, second = words.partition(" ")
    return f"{first.capitalize()}\n{unit.removesuffix(']') or second}"


def _hill_table(survey: Survey, system: UnitSystem) -> "Table":
    rows = [_hill_row(number, hill, system) for number, hill in enumerate(survey.hills, start=1)]
    table = _table([_heading(title) for title in rows[0]], ())
    for row in rows:
        table.add_row(*(_cell(value) for value in row.values()))
    return table


def _cell(value: Cell) -> str:
    return f"{value:,}" if isinstance(value, int) else str(value)


def _crest(crest: Crest, system: UnitSystem) -> str:
    where = (
        f"{system.distance.text(crest.distance)}: up {100 * crest.climb:.1f} %, down "
        f"{100 * crest.fall:.1f} %"
    )
    if crest.mark is None or crest.water is None:
        return f"{where}: not known: ask the boiler's inspector"
    if crest.above:
        return f"{where}: above the top of the glass: ask the boiler's inspector"
    mark = (
        f"{crest.mark / _INCH:.1f} in" if system.name != "metric" else f"{100 * crest.mark:.0f} cm"
    )
    return (
        f"{where}: at least {mark} above the glass bottom, read at "
        f"{system.distance.text(crest.read_at)}; {system.water.text(crest.water)} more in the "
        "boiler than on the flat. The inspector's rule governs where it is higher"
    )
