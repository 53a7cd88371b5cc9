"""What a reconstruction shows: terminal, page, charts and tables."""

from haulplan.outputs.history.page import history_outputs
from haulplan.outputs.history.terminal import render_history

__all__ = ["history_outputs", "render_history"]
