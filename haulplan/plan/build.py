"""Write the whole programme of one chain, station by station."""

from collections.abc import Mapping

from haulplan.plan.days import add_clock, add_days
from haulplan.plan.legs import Chain
from haulplan.plan.model import Programme, add_choice, add_leg, new_programme
from haulplan.plan.rules import Limits, Offer, Rules
from haulplan.plan.standing import add_balance, add_halt, share_sources

__all__ = ["build_programme"]


def build_programme(
    chain: Chain,
    offers: Mapping[int, Offer],
    limits: Limits,
    rules: Rules | None = None,
    *,
    elastic: bool = False,
) -> Programme:
    """Write the programme for one chain.

    Parameters
    ----------
    chain
        Nodes and affine legs.
    offers
        What each supply offers, by node number.
    limits
        Stores, reserves, levels.
    rules
        Days, crew, cart, boiler and what else may happen at a node; none where None.
    elastic
        True to let every limit be broken at a price, so as to see which ones must be.

    Returns
    -------
    programme
        Variables and constraints, no objective yet.
    """
    rules = rules or Rules()
    programme = new_programme(chain, offers, limits, rules, elastic=elastic)
    ways = {i for i, h in rules.halts.items() if h.uncouple is not None or h.drain is not None}
    stands = {i for i, h in rules.halts.items() if h.stands or h.stay is not None or h.night}
    for node in sorted({*offers, *ways, *stands}):
        add_halt(programme, node)
    share_sources(programme)
    for choice in sorted({c for c in chain.choices if c is not None}):
        add_choice(programme, choice, chain.legs[chain.choices.index(choice)])
    minutes = []
    for i, options in enumerate(chain.legs):
        number = chain.choices[i]
        drive = {} if number is None else programme.drive[number]
        add_balance(programme, i)
        minutes.append(add_leg(programme, i, options, drive))
    add_balance(programme, len(chain.legs))
    add_days(programme, chain, minutes)
    for i, took in enumerate(minutes):
        add_clock(programme, i, took)
    return programme
