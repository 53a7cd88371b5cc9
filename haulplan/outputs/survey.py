"""The demand of a road on the terminal and as CSV: stretches, hills, crests, totals."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from haulplan.demand.glass import Crest
from haulplan.demand.hills import Hill
from haulplan.demand.stretches import Stretch, Survey
from haulplan.demand.uncertainty import Band
from haulplan.outputs.cautions import CAUTIONS
from haulplan.outputs.tables import Cell, frame_of, plain, rounded, to_csv
from haulplan.route import Route
from haulplan.scenario import Scenario
from haulplan.units import DisplayUnit, UnitSystem

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Group, RenderableType
    from rich.table import Table

__all__ = ["hills_frame", "render_survey", "stretches_csv", "stretches_frame", "survey_outputs"]

_HORSEPOWER = 745.6998715822702
_INCH = 0.0254


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
    return frame_of([_hill_row(hill, system) for hill in survey.hills])


def render_survey(scenario: Scenario, route: Route, survey: Survey, system: UnitSystem) -> "Group":
    """The demand of a road for a terminal of at least 80 columns.

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

    def lines(*words: str) -> "list[RenderableType]":
        return [Text(plain(word)) for word in words]

    def heading(words: str) -> Text:
        return Text(words, style="bold")

    parts: list[RenderableType] = [heading(plain(scenario.file.title))]
    parts += lines(*_totals(scenario, route, survey, system), "")
    parts += [heading("Stretches"), _stretch_table(survey, system), Text()]
    if survey.hills:
        parts += [heading("The price of each hill, above a level road")]
        parts += [_hill_table(survey, system), Text()]
    if survey.crests:
        parts += [heading("Water glass over the crests"), *lines(*_crests(survey, system)), Text()]
    parts += [heading("Cautions"), *lines(*(f" - {caution}" for caution in CAUTIONS))]
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


def _totals(scenario: Scenario, route: Route, survey: Survey, system: UnitSystem) -> list[str]:
    chance = f"{100 * survey.pessimism:.0f} %"
    mood = "typical figures" if survey.pessimism == 0.5 else f"figures at {chance} pessimism"
    ratio = survey.water.typical / survey.coal.typical
    return [
        f"{system.distance.text(route.length)} with {system.mass.text(survey.aboard)} of water "
        f"and coal aboard throughout, {mood}",
        f"Water {_band(survey.water, system.water)}; coal {_band(survey.coal, system.coal)} "
        "(typical, and nine-in-ten band)",
        f"Driving {survey.duration.typical / 60:.0f} min "
        f"({survey.duration.low / 60:.0f}-{survey.duration.high / 60:.0f}), "
        f"{ratio:.1f} lb of water to the lb of coal",
        f"An hour standing in steam: {system.water.text(3600 * survey.standing_water)} and "
        f"{system.coal.text(3600 * survey.standing_coal)}; boiler's best "
        f"{system.water.text(3600 * survey.best_steam)} an hour",
        f"Lighting up {system.coal.text(survey.lighting_up_coal)}, a banked night "
        f"{system.coal.text(survey.banking_coal)} of coal",
        f"Most pull in {survey.stretches[0].gear if len(survey.stretches) == 1 else 'the lowest'}"
        f" gear {system.pull.text(survey.full_pull)}; grip {system.pull.text(survey.grip_pull)}",
    ]


def _band(band: Band, unit: DisplayUnit) -> str:
    return f"{unit.text(band.typical)} ({unit.number(band.low)}-{unit.number(band.high)})"


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
        "minutes": round(stretch.duration / 60, 1) + 0.0,
        "held by": stretch.limit,
    }


def _hill_row(hill: Hill, system: UnitSystem) -> dict[str, Cell]:
    distance, height, water, coal = system.distance, system.height, system.water, system.coal
    return {
        f"at [{distance.label}]": rounded(distance, hill.begin),
        f"length [{distance.label}]": rounded(distance, hill.length),
        f"rise [{height.label}]": rounded(height, hill.rise),
        "steepest [%]": round(100 * hill.steepest, 1) + 0.0,
        f"water [{water.label}]": rounded(water, hill.water),
        f"coal [{coal.label}]": rounded(coal, hill.coal),
        "minutes": round(hill.duration / 60, 1) + 0.0,
        "restarts": "yes" if hill.restarts else "no",
    }


def _table(titles: Sequence[str], left: Iterable[str]) -> "Table":
    from rich.box import SIMPLE_HEAD  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    names = set(left)
    table = Table(
        box=SIMPLE_HEAD, padding=0, show_edge=False, header_style="bold"
    )  # fmt: skip
    for title in titles:
        table.add_column(title, justify="left" if title in names else "right", no_wrap=True)
    return table


def _stretch_table(survey: Survey, system: UnitSystem) -> "Table":
    """The columns that fit 80; the CSV has them all."""
    distance, height, water, coal = system.distance, system.height, system.water, system.coal
    titles = (
        f"From\n{distance.label}", f"Climb\n{height.label}", "Surface", "Gear",
        f"Speed\n{system.speed.label}", f"Pull\n{system.pull.label}", "Power\nihp",
        f"Steam\n{coal.label}/h", f"Water\n{water.label}", f"Coal\n{coal.label}", "\nmin",
        "Held\nby",
    )  # fmt: skip
    table = _table(titles, ("Surface", "Gear", "Held\nby"))
    for stretch in survey.stretches:
        row = list(_stretch_row(stretch, system).values())
        surface, gear = str(row[6])[:9], str(row[7])[:8]
        shown = [row[0], row[3], surface, gear, row[8], row[9], *row[10:]]
        table.add_row(*(_cell(value) for value in shown))
    return table


def _hill_table(survey: Survey, system: UnitSystem) -> "Table":
    rows = [_hill_row(hill, system) for hill in survey.hills]
    table = _table([title.replace(" [", "\n[") for title in rows[0]], ())
    for row in rows:
        table.add_row(*(_cell(value) for value in row.values()))
    return table


def _cell(value: Cell) -> str:
    return f"{value:,}" if isinstance(value, int) else str(value)


def _crests(survey: Survey, system: UnitSystem) -> list[str]:
    return [_crest(crest, system) for crest in survey.crests]


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
