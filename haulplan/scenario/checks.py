"""Problems of a scenario that no single key or row shows."""

import math
from collections.abc import Sequence
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
        their inputs, hours nobody can keep.
    """
    return [
        *_check_levels(file),
        *_check_files(file, root),
        *_check_model(file, root),
        *_check_hours(file),
        *_check_engine(file),
        *_check_risk(file),
    ]


def _check_risk(file: schema.ScenarioFile) -> list[Problem]:
    engine = file.engine
    learned = engine is not None and (engine.water_factor or engine.coal_factor)
    if file.risk is None or file.risk.day is not None or learned:
        return []
    return [
        Problem(
            file="scenario.toml",
            where="risk.day",
            found="missing, and the engine's logs have taught nothing yet",
            remedy="give the spread of a whole day, as in '10 %', or haulplan learn --write",
        )
    ]


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
    if file.last_resort is not None:
        problems += [
            Problem(
                file="scenario.toml",
                where=f"last_resort.{name}",
                found=f"above reserve.{name}",
                remedy="give at most the reserve: it is what is left when that is gone into",
            )
            for name in ("water", "coal")
            if getattr(file.last_resort, name) > getattr(file.reserve, name)
        ]
    return problems


def _check_files(file: schema.ScenarioFile, root: Path) -> list[Problem]:
    problems = []
    for key in ("file", "grades", "network", "heights", "keep_off"):
        name = getattr(file.route, key)
        if name is None:
            continue
        path = root / name
        if not inside(path, root):
            found, remedy = "outside the scenario folder", "copy the file into the folder"
        elif not (_is_file(path) or (key in ("network", "heights") and _is_folder(path))):
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


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:
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
        if file.route.file is None and file.route.network is None:
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


def _check_hours(file: schema.ScenarioFile) -> list[Problem]:
    """Hours, duties and meals at odds with each other or with the road."""
    problems = []
    hours = file.hours
    drawn = file.route.file is not None and file.route.file.casefold().endswith(".gpx")
    if hours.light != "any" and hours.latitude is None and not drawn:
        problems.append(
            ("hours.light", "nothing says where the sun is to rise",
             "give hours.latitude and hours.longitude, or a GPX road")
        )  # fmt: skip
    leave = file.depart if file.depart_by is None else file.depart_by
    if leave < hours.earliest:
        key = "depart" if file.depart_by is None else "depart_by"
        problems.append((key, "before hours.earliest", "leave later, or mend the hours"))
    if file.depart >= hours.latest:
        problems.append(("depart", "not before hours.latest", "leave earlier, or mend the hours"))
    for key, rows in (("duties", file.duties), ("meals", file.meals)):
        problems += [
            (f"{key}[{number}].name", f"'{short(name)}' stands there twice", "give each its own")
            for number, name in _repeated([row.name for row in rows])
        ]
    return [
        Problem(file="scenario.toml", where=where, found=found, remedy=remedy)
        for where, found, remedy in problems
    ]


def _repeated(names: Sequence[str]) -> list[tuple[int, str]]:
    """Names that stood before, with their number from 1."""
    return [(k + 1, name) for k, name in enumerate(names) if name in names[:k]]


def _check_engine(file: schema.ScenarioFile) -> list[Problem]:
    """Levels of the boiler at odds, and stores that lift the leading axle off the road."""
    problems: list[tuple[str, str, str]] = []
    engine = file.engine
    if engine is not None and engine.glass is not None:
        low, high = engine.glass.working_level, engine.glass.highest_level
        if (low is None) is not (high is None):
            key = "working_level" if low is None else "highest_level"
            problems.append((f"engine.glass.{key}", "missing", "give both levels, or neither"))
        elif low is not None and high is not None and high <= low:
            problems.append(
                ("engine.glass.highest_level", "not above working_level", "swap or mend them")
            )
        elif low is not None and engine.feed_rate is None and file.fuel is None:
            problems.append(
                ("engine.feed_rate", "missing, and without [fuel] it cannot be reckoned",
                 "give what one injector or pump feeds, or take the boiler's levels out")
            )  # fmt: skip
    if engine is not None and engine.axles is not None:
        base = engine.axles.wheelbase
        lifted = sum(
            room * max(-ahead, 0.0) / base
            for room, ahead in (
                (file.stores.tank, engine.axles.tank_ahead),
                (file.stores.bunker, engine.axles.bunker_ahead),
            )
        )
        if lifted > engine.weight - engine.weight_on_drivers:
            problems.append(
                ("engine.axles", "a full tank and bunker lift the leading axle off the road",
                 "check tank_ahead, bunker_ahead, weight and weight_on_drivers")
            )  # fmt: skip
    return [
        Problem(file="scenario.toml", where=where, found=found, remedy=remedy)
        for where, found, remedy in problems
    ]
