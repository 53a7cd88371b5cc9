"""Write the whole programme of one chain, station by station."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from haulplan.plan.days import add_clock, add_days
from haulplan.plan.legs import Chain
from haulplan.plan.model import Programme, add_choice, add_leg, new_programme, new_recourse
from haulplan.plan.rules import Limits, Offer, Rules
from haulplan.plan.standing import add_balance, add_halt, share_sources
from haulplan.plan.turning import Turn, Turned

__all__ = ["Back", "Posed", "Shut", "add_recourse", "build_programme"]


@dataclass(frozen=True, kw_only=True)
class Shut:
    """A stop at which nothing of one kind is to be had; `turn` where the way on turns back."""

    node: int
    kind: Literal["water", "coal"]
    turn: Turn | None = None


@dataclass(frozen=True, kw_only=True)
class Back:
    """A way on that turns back: its road, and what the programme is told of it.

    Its nodes up to the one at which a stop is found shut are the plan's own; `margin` is
    added to the levels of last resort [kg].
    """

    turned: Turned
    chain: Chain
    offers: Mapping[int, Offer]
    rules: Rules
    margin: float = 0.0


def _no_backs(shut: Shut, first: int) -> tuple[Back, ...]:
    return ()


@dataclass(frozen=True, kw_only=True)
class Posed:
    """A problem as it is put to the programme.

    `shut` are the stops for which a second way on is written in, `last_resort` the stores
    with the levels to be kept on it; `backs(shut, first)` are the ways that turn back, where
    a stop is known to be shut at node `first`.
    """

    chain: Chain
    offers: Mapping[int, Offer]
    limits: Limits
    rules: Rules = field(default_factory=Rules)
    shut: tuple[Shut, ...] = ()
    last_resort: Limits | None = None
    backs: Callable[[Shut, int], tuple[Back, ...]] = _no_backs


def build_programme(posed: Posed, *, elastic: bool = False) -> Programme:
    """Write the programme for one chain.

    Parameters
    ----------
    posed
        The problem.
    elastic
        True to let every limit be broken at a price, so as to see which ones must be; no
        second ways on are written then.

    Returns
    -------
    programme
        Variables and constraints, no objective yet.
    """
    chain = posed.chain
    programme = new_programme(chain, posed.offers, posed.limits, posed.rules, elastic=elastic)
    for choice in sorted({c for c in chain.choices if c is not None}):
        add_choice(programme, choice, chain.legs[chain.choices.index(choice)])
    _write(programme, chain)
    if posed.rules.most_stops is not None:
        most = posed.rules.most_stops + programme.give("stops", 0, "")
        programme.add(programme.stops <= most, "most_stops")
    for shut in () if elastic else posed.shut:
        backs = () if shut.turn is None else posed.backs(shut, shut.node)
        back = next((b for b in backs if b.turned.turn == shut.turn), None)
        add_recourse(programme, chain, shut, posed.last_resort or posed.limits, back=back)
    return programme


def add_recourse(
    programme: Programme,
    chain: Chain,
    shut: Shut,
    last_resort: Limits,
    *,
    first: int | None = None,
    back: Back | None = None,
) -> Programme:
    """Add a second way on from a stop where nothing of one kind is to be had: (23).

    While the stop is not made, or takes nothing of that kind, the plan's own way on is one;
    a way that turns back is one only where it is asked for.

    Parameters
    ----------
    programme
        The plan's; is added to.
    chain
        Its nodes and legs.
    shut
        The stop and the kind.
    last_resort
        Stores with the levels to be kept then.
    first
        The node from which the way is a second one; the stop itself where None.
    back
        The way that turns back, where it is to be that one.

    Returns
    -------
    recourse
        In the same problem.
    """
    first = shut.node if first is None else first
    closed = programme.offers[shut.node]
    offers = {}
    for i, offer in (programme.offers if back is None else back.offers).items():
        if i < first:
            continue
        if offer.row == closed.row and offer.truck == closed.truck:
            water = 0.0 if shut.kind == "water" else offer.water
            coal = 0.0 if shut.kind == "coal" else offer.coal
            offer = replace(offer, water=water, coal=coal)  # noqa: PLW2901  what is left of it
        if offer.water or offer.coal:
            offers[i] = offer
    name = f"no_{shut.kind}_{shut.node:05d}_"
    rules = programme.rules
    if back is not None:
        chain, rules, name = back.chain, back.rules, f"{name}back_"
        last_resort = _above(last_resort, back.margin)
    recourse = new_recourse(programme, chain, offers, last_resort, first, name, rules)
    for choice in sorted({c for c in chain.choices if c is not None}):
        if chain.choices.index(choice) >= first:
            add_choice(recourse, choice, chain.legs[chain.choices.index(choice)])
    _write(recourse, chain)
    return recourse


def _above(limits: Limits, margin: float) -> Limits:
    """Stores with so much more to be kept in each."""
    coal = min(margin, 1e-3 * limits.bunker)
    return replace(
        limits,
        reserve_water=limits.reserve_water + margin,
        reserve_coal=limits.reserve_coal + coal,
        finish_water=limits.finish_water + margin,
        finish_coal=limits.finish_coal + coal,
        mass_margin=limits.mass_margin + margin,
    )


def _write(programme: Programme, chain: Chain) -> None:
    """Every constraint from the programme's first node on."""
    rules, first = programme.rules, programme.first
    ways = {i for i, h in rules.halts.items() if h.uncouple is not None or h.drain is not None}
    stands = {i for i, h in rules.halts.items() if h.stands or h.stay is not None or h.night}
    for node in sorted({*programme.offers, *ways, *stands}):
        if node >= first:
            add_halt(programme, node)
    share_sources(programme)
    minutes: list[Any] = [0.0] * first
    for i, options in enumerate(chain.legs):
        if i < first:
            continue
        number = chain.choices[i]
        drive = {} if number is None else programme.drive[number]
        add_balance(programme, i)
        minutes.append(add_leg(programme, i, options, drive))
    add_balance(programme, len(chain.legs))
    add_days(programme, chain, minutes)
    for i in range(first, len(minutes)):
        add_clock(programme, i, minutes[i])
