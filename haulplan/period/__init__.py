"""A recorded trip of the past: what it implies, whether it can be true, how it was likely run."""

__all__: list[str] = []
