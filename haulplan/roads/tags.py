"""Read the tags of OpenStreetMap as people write them.

What the keys mean follows the OpenStreetMap wiki, from memory: pages "Key:maxweight",
"Key:maxheight", "Key:maxwidth", "Key:maxaxleload", "Key:incline", "Key:surface",
"Key:oneway", "Key:access", "Key:tracktype", "Key:barrier" and "Map features/Units". A
figure without a unit is in tonnes, metres or km/h there. What cannot be understood is
never taken for "no limit".
"""

import math
import re
from collections.abc import Mapping
from typing import Final

from haulplan.roads.facts import Facts

__all__ = [
    "BLOCKING",
    "GATES",
    "ROAD_KINDS",
    "read_facts",
    "read_grade",
    "read_length",
    "read_mass",
    "read_speed",
    "read_surface",
]

#: Values that say nothing is posted, or only what the law says anyway.
_NO_LIMIT: Final = frozenset({"none", "no", "default", "unsigned", "unlimited", "no_sign"})
_NUMBER: Final = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
_PIECE: Final = rf"{_NUMBER}\s*([a-z/]+|'|\")?\s*"
_FEET_OR_INCHES: Final = frozenset({"'", "ft", "feet", "foot", '"', "in", "inch", "inches"})
_MASS: Final = {
    "": 1000.0, "t": 1000.0, "ton": 1000.0, "tons": 1000.0, "tonne": 1000.0, "tonnes": 1000.0,
    "to": 1000.0, "kg": 1.0, "st": 907.18474, "lt": 1016.0469088, "lb": 0.45359237,
    "lbs": 0.45359237, "cwt": 50.80234544,
}  # fmt: skip
_LENGTH: Final = {
    "": 1.0, "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "cm": 0.01,
    "'": 0.3048, "ft": 0.3048, "feet": 0.3048, "foot": 0.3048, '"': 0.0254, "in": 0.0254,
    "inch": 0.0254, "inches": 0.0254,
}  # fmt: skip
_SPEED: Final = {"": 1 / 3.6, "km/h": 1 / 3.6, "kmh": 1 / 3.6, "kph": 1 / 3.6, "mph": 0.44704}
_QUOTES: Final = str.maketrans({"’": "'", "′": "'", "`": "'", "”": '"', "″": '"', "“": '"'})

#: Kinds of road that are read, with the surface they have where none is mapped.
ROAD_KINDS: Final[Mapping[str, str]] = {
    "motorway": "asphalt", "motorway_link": "asphalt", "trunk": "asphalt",
    "trunk_link": "asphalt", "primary": "asphalt", "primary_link": "asphalt",
    "secondary": "asphalt", "secondary_link": "asphalt", "tertiary": "asphalt",
    "tertiary_link": "asphalt", "unclassified": "asphalt", "residential": "asphalt",
    "living_street": "asphalt", "service": "asphalt", "road": "gravel", "track": "gravel",
    "byway": "earth",
}  # fmt: skip
_SURFACES: Final = {
    "asphalt": "asphalt", "paved": "asphalt", "chipseal": "asphalt", "concrete": "asphalt",
    "concrete:plates": "asphalt", "concrete:lanes": "asphalt", "paving_stones": "brick",
    "bricks": "brick", "brick": "brick", "sett": "setts", "cobblestone": "setts",
    "cobblestone:flattened": "setts", "unhewn_cobblestone": "setts", "compacted": "macadam",
    "fine_gravel": "macadam", "gravel": "gravel", "unpaved": "gravel", "grass_paver": "gravel",
    "pebblestone": "loose gravel", "dirt": "earth", "earth": "earth", "ground": "earth",
    "grass": "earth", "mud": "earth", "clay": "earth", "sand": "sand", "wood": "asphalt",
    "metal": "asphalt", "metal_grid": "asphalt",
}  # fmt: skip
_TRACKS: Final = {
    "grade1": "macadam", "grade2": "gravel", "grade3": "gravel", "grade4": "earth",
    "grade5": "earth",
}  # fmt: skip
_PLANKS: Final = frozenset({"wood", "metal_grid"})
_OPEN: Final = frozenset(
    {"yes", "designated", "official", "permissive", "public", "destination", "unknown"}
)
#: Things on a road that an engine cannot pass, and those a hand opens.
BLOCKING: Final = frozenset(
    {
        "bollard", "block", "cycle_barrier", "chain", "fence", "wall", "stile", "kissing_gate",
        "turnstile", "jersey_barrier", "log", "rope", "debris", "motorcycle_barrier",
        "bus_trap", "sump_buster",
    }
)  # fmt: skip
GATES: Final = frozenset({"gate", "lift_gate", "swing_gate", "toll_booth", "cattle_grid"})


def _least(text: str, units: Mapping[str, float]) -> float | None:
    """The least of the figures between semicolons, each one number or feet and inches."""
    figures = []
    for part in text.translate(_QUOTES).casefold().replace("''", '"').split(";"):
        said = part.strip()
        if said in _NO_LIMIT:
            figures.append(math.inf)
            continue
        pieces = re.findall(_PIECE, said)
        if not pieces or re.sub(_PIECE, "", said) or len(pieces) > 2:
            return None
        if len(pieces) == 2:  # feet and inches, the mark of the inches often left out
            if pieces[0][1] not in _FEET_OR_INCHES or pieces[1][1] not in {*_FEET_OR_INCHES, ""}:
                return None
            pieces[1] = (pieces[1][0], pieces[1][1] or '"')
        if any(unit not in units for _, unit in pieces):
            return None
        figures.append(sum(float(n.replace(",", ".")) * units[unit] for n, unit in pieces))
    least = min(figures)
    return least if least > 0 else None


def read_mass(text: str) -> float | None:
    """A posted weight, as in `3.5 t`, `7.5`, `12 st` or `none`.

    Parameters
    ----------
    text
        The tag's value; several between semicolons give the least. A figure without a
        unit is in tonnes.

    Returns
    -------
    mass
        Infinite where nothing is posted, None where it cannot be understood. [kg]

    Examples
    --------
    >>> read_mass("3.5 t"), read_mass("7.5"), read_mass("none"), read_mass("bus only")
    (3500.0, 7500.0, inf, None)
    """
    return _least(text, _MASS)


def read_length(text: str) -> float | None:
    r"""A posted height or width, as in `4.1`, `13'8"`, `14 ft 2 in` or `default`.

    Parameters
    ----------
    text
        The tag's value; several between semicolons give the least. A figure without a
        unit is in metres. Marks are taken at their word: `6"4'` is 4 ft 6 in.

    Returns
    -------
    length
        Infinite where nothing is posted, None where it cannot be understood. [m]

    Examples
    --------
    >>> [round(read_length(t), 4) for t in ("4.1", "13'8\"", "16'12\"", "6\"4'")]
    [4.1, 4.1656, 5.1816, 1.3716]
    """
    return _least(text, _LENGTH)


def read_speed(text: str) -> float | None:
    """A posted speed, as in `50`, `30 mph` or `none`.

    Parameters
    ----------
    text
        The tag's value; a figure without a unit is in km/h.

    Returns
    -------
    speed
        Infinite where nothing is posted, None where it cannot be understood. [m s⁻¹]

    Examples
    --------
    >>> round(read_speed("30 mph"), 4), read_speed("none"), read_speed("DE:urban")
    (13.4112, inf, None)
    """
    return 5 / 3.6 if text.strip().casefold() == "walk" else _least(text, _SPEED)


def read_grade(text: str) -> float | None:
    """A posted grade along the way drawn, as in `10%`, `-8 %`, `1:12`, `6°` or `up`.

    Parameters
    ----------
    text
        The tag's value.

    Returns
    -------
    grade
        Rise over length; NaN for `up` and `down`, which say no figure, None where it
        cannot be understood. [-]

    Examples
    --------
    >>> read_grade("10%"), read_grade("-1:20"), read_grade("up"), read_grade("steep")
    (0.1, -0.05, nan, None)
    """
    said = text.strip().casefold().replace("−", "-")
    if said in {"up", "down", "yes", "up/down", "both"}:
        return math.nan
    if match := re.fullmatch(rf"([+-]?)\s*{_NUMBER}\s*(%|°)?", said):
        figure = float(match[2].replace(",", "."))
        if match[3] is None and figure:
            return None  # a bare number has been seen to mean per cent, degrees and ratio
        grade = math.tan(math.radians(min(figure, 45.0))) if match[3] == "°" else figure / 100
    elif match := re.fullmatch(rf"([+-]?)\s*1\s*:\s*{_NUMBER}", said):
        grade = 1 / max(float(match[2].replace(",", ".")), 1.0)
    else:
        return None
    return -grade if match[1] == "-" else grade


def read_surface(tags: Mapping[str, str], kind: str) -> tuple[str, bool]:
    """The surface by haulplan's names, and whether it is mapped or only usual for its kind.

    Parameters
    ----------
    tags
        Of the road.
    kind
        Of the road, a key of `ROAD_KINDS`.

    Returns
    -------
    surface, known
        One of the scenario's surfaces.

    Examples
    --------
    >>> read_surface({"surface": "cobblestone:flattened"}, "residential")
    ('setts', True)
    >>> read_surface({"tracktype": "grade4"}, "track")
    ('earth', True)
    """
    mapped = tags.get("surface", "").split(";")[0].strip().casefold()
    if mapped in _SURFACES:
        return _SURFACES[mapped], True
    if tags.get("tracktype") in _TRACKS:
        return _TRACKS[tags["tracktype"]], True
    return ROAD_KINDS.get(kind, "gravel"), False


def read_facts(tags: Mapping[str, str]) -> Facts | None:
    """What the tags of a way say of it as a road.

    Parameters
    ----------
    tags
        Key and value, as mapped.

    Returns
    -------
    facts
        None where the way is not a road for vehicles.
    """
    kind = tags.get("highway", "")
    if kind not in ROAD_KINDS or tags.get("area") == "yes":
        return None
    surface, known = read_surface(tags, kind)
    unread: list[str] = []

    def limit(key: str, signed: tuple[str, ...] = ()) -> float:
        """The least posted under a key or those signed on the spot."""
        found = math.inf
        for name in (key, *signed):
            if (text := tags.get(name)) is not None:
                figure = (
                    read_mass(text) if "load" in name or "weight" in name else (read_length(text))
                )
                if figure is None:
                    unread.append(f"{name}={text[:40]}")
                else:
                    found = min(found, figure)
        return found

    speed = read_speed(tags.get("maxspeed", "none"))
    grade = read_grade(tags.get("incline", "up"))
    bridge = tags.get("bridge", "no") not in {"no", ""}
    return Facts(
        name=tags.get("name", ""),
        reference=tags.get("ref", ""),
        kind=kind,
        surface=surface,
        surface_known=known,
        max_mass=limit("maxweight", ("maxweight:signed", "maxweightrating:hgv", "maxgcweight")),
        max_axle=limit("maxaxleload"),
        max_height=limit("maxheight", ("maxheight:physical", "maxheight:signed")),
        max_width=limit("maxwidth", ("maxwidth:physical",)),
        speed_limit=math.inf if speed is None else speed,
        oneway=_oneway(tags),
        grade=math.nan if grade is None else grade,
        bridge=bridge,
        tunnel=tags.get("tunnel", "no") not in {"no", "", "culvert"},
        ford=tags.get("ford", "no") not in {"no", ""},
        planking=bridge and tags.get("surface") in _PLANKS,
        shut=_shut(tags, kind),
        remarks=_remarks(tags),
        unread=tuple(unread),
    )


def _oneway(tags: Mapping[str, str]) -> int:
    said = tags.get("oneway", "").strip().casefold()
    if said in {"-1", "reverse"}:
        return -1
    if said in {"yes", "true", "1"}:
        return 1
    around = tags.get("junction") in {"roundabout", "circular"} or tags.get("highway") == "motorway"
    return 1 if around and not said else 0


def _shut(tags: Mapping[str, str], kind: str) -> str | None:
    """Why nobody may drive a heavy vehicle here; the more special key rules."""
    if kind.startswith("motorway") or tags.get("motorroad") == "yes":
        return "motorway: no slow vehicles"
    for key in ("hgv", "motor_vehicle", "vehicle", "access"):
        said = tags.get(key)
        if said is None:
            continue
        if any(value.strip() in _OPEN for value in said.split(";")):
            return None
        return f"{key}={said[:30]}: for those with leave only"
    if tags.get("impassable") == "yes" or tags.get("smoothness") == "impassable":
        return "mapped as impassable"
    return None


def _remarks(tags: Mapping[str, str]) -> tuple[str, ...]:
    said = []
    if "destination" in {tags.get("motor_vehicle"), tags.get("vehicle"), tags.get("access")}:
        said.append("only for those with business there")
    if tags.get("smoothness") in {"bad", "very_bad", "horrible", "very_horrible"}:
        said.append(f"mapped as {tags['smoothness'].replace('_', ' ')}")
    said += [
        f"limit by time or kind: {key}" for key in sorted(tags)
        if key.startswith("max") and key.endswith(":conditional")
    ]  # fmt: skip
    return tuple(said)
