"""Choose the way over a network of roads, together with the stops on it."""

from haulplan.roads.quest import Quest, prepare, turned_back
from haulplan.roads.ways import Chosen, Way, choose_way

__all__ = ["Chosen", "Quest", "Way", "choose_way", "prepare", "turned_back"]
