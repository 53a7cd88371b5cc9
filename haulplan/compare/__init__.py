"""Variants of a scenario planned side by side, each read, planned and proved by itself."""

from haulplan.compare.outcome import Outcome, Tally
from haulplan.compare.run import compare
from haulplan.compare.variants import Variant, variants_of

__all__ = ["Outcome", "Tally", "Variant", "compare", "variants_of"]
