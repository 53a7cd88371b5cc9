"""The cautions that stand on every first table, map and JSON file."""

from typing import Final

__all__ = ["CAUTIONS"]

CAUTIONS: Final = (
    "The water glass and the try cocks rule, not this plan: tank water is not boiler water.",
    "Boiler fitness and pressure are for the boiler code and its inspector; this plan "
    "checks neither.",
    "Bridges: the posted figure and the road authority decide. Ours is only a weight "
    "reckoned from the scenario.",
    "Water: have each owner's or water authority's permission; keep an air gap at the filler.",
    "Hills, weather, crew and coal differ on the day: dip at every stop and trust the dip.",
)
