"""Problems of a scenario that no single key or row shows."""

import math
from pathlib import Path

from haulplan.errors import Problem
from haulplan.scenario import schema
from haulplan.scenario.files import inside
from haulplan.scenario.wording import short

__all__ = ["check_together"]


def check_together(file: schema.ScenarioFile, root: Path) -> list[Problem]:
    """Problems that no single key or row shows.

    Parameters
    ----------
    file
        scenario.toml.
    root
        The scenario's folder.

    Returns
    -------
    problems
        Levels at odds with the stores, road files that are not there, models that lack
        their inputs.
    """
    return [*_check_levels(file), *_check_files(file, root), *_check_model(file, root)]


def _check_levels(file: schema.ScenarioFile) -> list[Problem]:
    problems = []
    for section in ("at_start", "at_finish", "reserve"):
        levels = getattr(file, section)
        for name, store in (("water", "tank"), ("coal", "bunker")):
            level, room = getattr(levels, name), getattr(file.stores, store)
            reserve = getattr(file.reserve, name)
            if section == "reserve" and math.isinf(level):
                found, remedy = "a full reserve", "give an amount, or 0"
            elif not math.isinf(level) and level > room:
                found, remedy = f"above stores.{store}", "give at most what the store holds"
            elif section != "reserve" and level < reserve <= room:
                found, remedy = f"below reserve.{name}", "start and finish at or above the reserve"
            else:
                continue
            problems.append(
                Problem(file="scenario.toml", where=f"{section}.{name}", found=found, remedy=remedy)
            )
    return problems


def _check_files(file: schema.ScenarioFile, root: Path) -> list[Problem]:
    problems = []
    for key in ("file", "grades"):
        name = getattr(file.route, key)
        if name is None:
            continue
        path = root / name
        if not inside(path, root):
            found, remedy = "outside the scenario folder", "copy the file into the folder"
        elif not _is_file(path):
            found, remedy = f"no file '{short(name)}'", "put it in the scenario folder"
        elif key == "file" and path.suffix.casefold() not in (".gpx", ".csv"):
            found, remedy = f"'{short(name)}' is neither .gpx nor .csv", "give a GPX or CSV file"
        else:
            continue
        problems.append(
            Problem(file="scenario.toml", where=f"route.{key}", found=found, remedy=remedy)
        )
    if file.route.file is None or Path(file.route.file).suffix.casefold() == ".csv":
        problems += [
            Problem(
                file="scenario.toml",
                where=f"route.{key}",
                found="without a GPX road",
                remedy="remove it, or name a GPX file as route.file",
            )
            for key in ("grades", "track")
            if getattr(file.route, key) is not None
        ]
    return problems


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name longer than the file system knows
        return False


def _check_model(file: schema.ScenarioFile, root: Path) -> list[Problem]:
    """Either the steam model's inputs or measured use must be there."""
    missing: list[tuple[str, str]] = []
    if (root / "demand.csv").exists():
        bridges = (root / "bridges.csv").exists()
        if bridges and file.engine is None and file.train.dry_weight is None:
            missing.append(("train.dry_weight", "bridges.csv needs the weight of engine and train"))
    else:
        if file.engine is None:
            missing.append(("engine", "without demand.csv the steam model needs the engine"))
        if file.fuel is None:
            missing.append(("fuel", "without demand.csv the steam model needs the coal"))
        if file.route.file is None:
            missing.append(("route.file", "name the GPX or CSV file of the road"))
    problems = [
        Problem(file="scenario.toml", where=key, found="missing", remedy=remedy)
        for key, remedy in missing
    ]
    if file.engine is not None and file.train.dry_weight is not None:
        problems.append(
            Problem(
                file="scenario.toml",
                where="train.dry_weight",
                found="given beside an engine",
                remedy="remove it: engine and wagons give the weight",
            )
        )
    return problems
