"""Under way: revise from a dip reading, keep a log, learn from it, drill for what may fail."""

__all__: list[str] = []
