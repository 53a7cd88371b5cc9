"""What the engine may use: every road that is closed to it says why."""

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haulplan.errors import InputError, Problem
from haulplan.roads.facts import Facts
from haulplan.roads.network import Link, Network, Profile
from haulplan.scenario import Scenario
from haulplan.units import UNIT_SYSTEMS, UnitSystem

__all__ = ["Area", "Ban", "Needs", "fact_bans", "grade_bans", "link_cautions", "needs_of"]

Array = NDArray[np.float64]

#: A grade counts when it is held so far: one sample of a terrain grid is no hill. [m]
_HELD = 100.0


@dataclass(frozen=True, kw_only=True)
class Needs:
    """What engine and train need of a road, and what their owner refuses.

    `gross` and `axle` are with no more aboard than the reserves, the least there can be;
    figures that nobody gave are None and are not tried. [kg], [m], [-]
    """

    gross: float
    axle: float | None
    height: float | None
    width: float | None
    steepest_climb: float | None
    steepest_descent: float | None
    avoid: frozenset[str]
    fords: bool
    metal_tyres: bool
    system: UnitSystem


@dataclass(frozen=True, kw_only=True)
class Area:
    """A named area nobody may enter: rings of longitude and latitude, shape (points, 2)."""

    name: str
    rings: tuple[Array, ...]

    def holds(self, latitude: Array, longitude: Array) -> NDArray[np.bool_]:
        """Whether each position is inside; holes are outside."""
        inside = np.zeros(latitude.shape, dtype=bool)
        for ring in self.rings:
            for (x0, y0), (x1, y1) in pairwise(ring):
                if y0 == y1:
                    continue
                between = (y0 > latitude) != (y1 > latitude)
                inside ^= between & (longitude < x0 + (latitude - y0) * (x1 - x0) / (y1 - y0))
        return inside


@dataclass(frozen=True, kw_only=True)
class Ban:
    """An edge that is closed to the engine, and why."""

    edge: int
    reason: str


def needs_of(scenario: Scenario) -> Needs:
    """What a scenario's engine and train need of a road.

    Parameters
    ----------
    scenario
        With an engine; what [outline] leaves out is not tried.

    Returns
    -------
    needs
        At the least weight the reserves allow.
    """
    file = scenario.file
    engine = file.engine
    train = sum(w.count * (w.tare + w.load) for w in file.train.wagons)
    dry = (engine.weight if engine else 0.0) + train + (file.train.dry_weight or 0.0)
    steel = engine is not None and engine.tyre != "rubber"
    return Needs(
        gross=dry + file.reserve.water + file.reserve.coal,
        axle=file.outline.heaviest_axle,
        height=file.outline.height,
        width=file.outline.width,
        steepest_climb=file.outline.steepest_climb,
        steepest_descent=None if engine is None else engine.steepest_descent,
        avoid=frozenset(file.outline.avoid),
        fords=file.outline.fords == "take",
        metal_tyres=steel or any(w.tyre == "steel" for w in file.train.wagons),
        system=UNIT_SYSTEMS[file.units],
    )


def fact_bans(
    network: Network, needs: Needs, *, closed: Sequence[str] = (), areas: Sequence[Area] = ()
) -> list[Ban]:
    """Edges closed by what is posted or mapped, by closures of the day and by areas.

    Parameters
    ----------
    network
        The roads.
    needs
        Of engine and train.
    closed
        Names, numbers or ids of roads closed on the day.
    areas
        To keep off.

    Returns
    -------
    bans
        One for each edge and reason.

    Raises
    ------
    InputError
        If no road has the name of a closed one.
    """
    bans = []
    shut = _closed_roads(network, closed)
    for number, link in enumerate(network.links):
        reasons = _reasons(link.facts, needs)
        if link.road in shut:
            reasons.append("closed on the day")
        reasons += [
            f"in '{area.name}', to be kept off" for area in areas
            if area.holds(link.latitude, link.longitude).any()
        ]  # fmt: skip
        reasons += [
            "something on the road bars it" for node in (link.begin, link.end)
            if network.blocked[node]
        ]  # fmt: skip
        bans += [Ban(edge=2 * number + k, reason=reason) for reason in reasons for k in (0, 1)]
        if link.facts.oneway:
            against = 2 * number + (1 if link.facts.oneway > 0 else 0)
            bans.append(Ban(edge=against, reason="one way"))
    return bans


def _closed_roads(network: Network, closed: Sequence[str]) -> frozenset[str]:
    """Ids of the roads that go by the names given."""
    called: dict[str, set[str]] = {}
    for link in network.links:
        for name in (link.road, link.facts.name, link.facts.reference):
            if name:
                called.setdefault(name.casefold(), set()).add(link.road)
    problems = []
    for name in closed:
        if name.casefold() not in called:
            near = difflib.get_close_matches(name.casefold(), list(called), n=3)
            hint = f"nearest: {', '.join(near)}" if near else "see roads.csv or the map"
            problems.append(
                Problem(file="--closed", where="", found=f"no road '{name}'", remedy=hint)
            )
    if problems:
        raise InputError(problems)
    return frozenset(road for name in closed for road in called[name.casefold()])


def _reasons(facts: Facts, needs: Needs) -> list[str]:
    """Why nobody may take the engine along a road, either way."""
    system = needs.system
    reasons = [facts.shut] if facts.shut else []
    pairs = (
        ("weight", facts.max_mass, needs.gross, system.mass),
        ("axle weight", facts.max_axle, needs.axle, system.mass),
        ("height", facts.max_height, needs.height, system.height),
        ("width", facts.max_width, needs.width, system.height),
    )
    for what, posted, ours, unit in pairs:
        if ours is not None and ours > posted:
            reasons.append(f"posted {what} {unit.text(posted)}, ours {unit.text(ours)}")
    if facts.unread:
        reasons.append(f"a posted limit that cannot be read: {', '.join(facts.unread)}")
    if facts.surface in needs.avoid:
        reasons.append(f"surface: {facts.surface}")
    if facts.ford and not needs.fords:
        reasons.append("a ford of unknown depth")
    return reasons


def grade_bans(
    network: Network, profile: Profile, needs: Needs, heaviest: Array, least: float
) -> list[Ban]:
    """Edges closed by their hills in one direction, or for want of heights.

    Parameters
    ----------
    network, profile
        The roads.
    needs
        Of engine and train.
    heaviest
        Most water and coal aboard with which the lowest gear holds each edge. [kg]
    least
        Least that must be aboard, the reserves. [kg]

    Returns
    -------
    bans
        One for each edge and reason.
    """
    bans = []
    for number, link in enumerate(network.links):
        own = profile.of(number)
        rise, fall = _held(profile.distance[own], profile.height[own])
        if math.isnan(rise):
            bans += [Ban(edge=2 * number + k, reason="no heights there") for k in (0, 1)]
            continue
        if math.isfinite(link.facts.grade):
            rise, fall = max(rise, link.facts.grade), max(fall, -link.facts.grade)
        for edge, up, down in ((2 * number, rise, fall), (2 * number + 1, fall, rise)):
            for what, limit, ours in (
                ("climb", needs.steepest_climb, up), ("descent", needs.steepest_descent, down),
            ):  # fmt: skip
                if limit is not None and ours > limit:
                    reason = (
                        f"a {what} of {100 * ours:.1f} %, the owner's limit {100 * limit:.1f} %"
                    )
                    bans.append(Ban(edge=edge, reason=reason))
            if heaviest[edge] < least:
                reason = f"a hill no gear holds ({100 * up:.1f} %)"
                bans.append(Ban(edge=edge, reason=reason))
    return bans


def _held(distance: Array, height: Array) -> tuple[float, float]:
    """Steepest rise and fall held over 100 m, or over the whole of a shorter link [-]."""
    if not np.isfinite(height).all():
        return math.nan, math.nan
    length = float(distance[-1])
    if length <= 0:
        return 0.0, 0.0
    span = min(_HELD, length)
    begin = distance[distance <= length - span + 1e-6]
    rise = np.interp(begin + span, distance, height) - np.interp(begin, distance, height)
    return float(rise.max()) / span, float(-rise.min()) / span


def link_cautions(link: Link, needs: Needs) -> list[str]:
    """What the crew must ask about before driving a link.

    Parameters
    ----------
    link
        Of the way.
    needs
        Of engine and train.

    Returns
    -------
    cautions
        Each in one line, without the place.
    """
    facts = link.facts
    said = list(facts.remarks)
    if facts.planking and needs.metal_tyres:
        said.append("planked bridge and metal tyres: ask the road authority first")
    if facts.bridge and math.isinf(facts.max_mass):
        said.append("bridge with no posted figure known: ask the road authority")
    if facts.tunnel and math.isinf(facts.max_height):
        said.append("tunnel or passage with no posted height known: measure it")
    if facts.ford:
        said.append("ford: try its depth and bed first")
    for what, posted, ours in (
        ("height", facts.max_height, needs.height), ("width", facts.max_width, needs.width),
        ("axle weight", facts.max_axle, needs.axle),
    ):  # fmt: skip
        if ours is None and math.isfinite(posted):
            unit = needs.system.mass if what == "axle weight" else needs.system.height
            said.append(f"posted {what} {unit.text(posted)}, ours not given in [outline]")
    return said
