"""Invented roads to measure the planner on; the numbers fix every draw.

Two miles of road for each candidate, 30 m at a time; a tank of some twenty miles, a mean
use of 250 lb of water a mile that follows grade and mass aboard; coal at every tenth
candidate; limited supplies; one bridge for ten candidates that may bind.
"""

import math
from itertools import pairwise

import numpy as np

from haulplan.plan.legs import AffineLeg, Chain, MassLimit, Node
from haulplan.plan.rules import Limits, Offer

__all__ = ["AIM", "make_instance"]

#: Weights of a minute, a unit of money and a stop.
AIM = (1.0, 1.0, 5.0)

_POUND = 0.45359237
_MILE = 1609.344
_STEP = 30.0
_TANK = 5400 * _POUND
_BUNKER = 1600 * _POUND
_DRY = 27_000.0
_WATER = 250 * _POUND / _MILE  # mean use [kg/m]
_EVAPORATION = 7.0
_RMS_GRADE = 0.018


def make_instance(
    candidates: int, number: int, *, coal: bool = True
) -> tuple[Chain, dict[int, Offer], Limits]:
    """One road with its supplies; `coal` False leaves the bunker out of account."""
    draw = np.random.default_rng(1000 * candidates + number)
    length = 2 * _MILE * candidates
    samples = int(length / _STEP)
    at = np.sort(draw.choice(np.arange(20, samples - 20), candidates, replace=False))
    marks = np.concatenate([[0], at, [samples]])
    base, slope = _use(draw, samples)
    bridges = draw.choice(np.arange(samples), max(candidates // 10, 1), replace=False)
    bound = {int(k): (_TANK + _BUNKER) * draw.uniform(0.5, 0.9) for k in bridges}
    share = 1 / _EVAPORATION if coal else 0.0
    legs = tuple(
        (_leg(base[a:b], slope[a:b], share, {k - a: m for k, m in bound.items() if a <= k < b}),)
        for a, b in pairwise(marks)
    )
    names = ["start", *["supply"] * candidates, "finish"]
    nodes = tuple(
        Node(kind=k, name=f"{k} {i}", sample=int(s), distance=_STEP * float(s), passing=None)
        for i, (k, s) in enumerate(zip(names, marks, strict=True))
    )
    chain = Chain(nodes=nodes, legs=legs, choices=(None,) * len(legs))
    coaled = {1 + 10 * t + int(draw.integers(2, 8)) for t in range(candidates // 10 + 1)}
    offers = {i: _offer(draw, i, i in coaled and coal) for i in range(1, candidates + 1)}
    return chain, offers, _limits(coal=coal)


def _use(draw: np.random.Generator, samples: int) -> tuple[np.ndarray, np.ndarray]:
    """Water used on each step as base + slope × mass aboard [kg], [-]."""
    grade = np.convolve(draw.normal(size=samples + 80), np.hanning(81), mode="valid")
    grade *= _RMS_GRADE / grade.std()
    pull = np.maximum(0.02 + grade, 0.004)
    pull *= _WATER * _STEP / pull.mean() / (_DRY + 0.5 * (_TANK + _BUNKER))
    return pull * _DRY, pull


def _leg(base: np.ndarray, slope: np.ndarray, share: float, bound: dict[int, float]) -> AffineLeg:
    whole = 1 - slope * (1 + share)
    p = np.concatenate([[1.0], np.cumprod(whole)])
    q = p * np.concatenate([[0.0], np.cumsum(base * (1 + share) / p[1:])])
    water = float((base - slope * q[:-1]).sum())
    per_mass = float((slope * p[:-1]).sum())
    return AffineLeg(
        gear=-1,
        duration=base.size * _STEP / 1.8,
        duration_slope=0.0,
        water=water,
        water_slope=per_mass,
        coal=water * share,
        coal_slope=per_mass * share,
        limits=tuple(
            MassLimit(
                most=float((most + q[k]) / p[k]), kind="bridge", name=f"bridge {k}",
                distance=0.0, row=-1,
            )
            for k, most in bound.items()
        ),
    )  # fmt: skip


def _offer(draw: np.random.Generator, i: int, coaled: bool) -> Offer:
    return Offer(
        row=i,
        water=1e6 if draw.random() < 0.3 else draw.uniform(500, 3000),
        water_rate=draw.uniform(60, 250),
        water_price=draw.choice([0.0, draw.uniform(0.001, 0.008)]),
        coal=(1e6 if draw.random() < 0.5 else draw.uniform(300, 900)) if coaled else 0.0,
        coal_rate=draw.uniform(15, 40),
        coal_price=draw.uniform(0.02, 0.06),
        call_out=draw.choice([0.0, 0.0, draw.uniform(2, 12)]),
        set_up=draw.uniform(4, 15),
        opens=-math.inf,
        closes=math.inf,
    )


def _limits(*, coal: bool) -> Limits:
    return Limits(
        tank=_TANK,
        bunker=_BUNKER,
        reserve_water=0.1 * _TANK,
        reserve_coal=0.1 * _BUNKER if coal else 0.0,
        start_water=_TANK,
        start_coal=0.8 * _BUNKER if coal else 0.0,
        finish_water=0.2 * _TANK,
        finish_coal=0.2 * _BUNKER if coal else 0.0,
        standing_water=0.1,
        standing_coal=0.02 if coal else 0.0,
        mass_margin=0.0,
        time_margin=0.0,
    )
