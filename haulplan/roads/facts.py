"""What is known of one road: limits, surface, directions, and why it may be closed."""

import math
from dataclasses import dataclass

__all__ = ["Facts"]


@dataclass(frozen=True, kw_only=True)
class Facts:
    """What is posted or mapped of a road; limits are infinite where none is posted.

    `oneway` is 1 along the way it is drawn, -1 against it, 0 both ways; `grade` is a posted
    grade along the way drawn, NaN where none; `shut` says why nobody may drive there;
    `remarks` are for the crew; `unread` are posted limits that could not be understood.
    """

    name: str = ""
    reference: str = ""
    kind: str = "road"
    surface: str = "asphalt"
    surface_known: bool = False
    max_mass: float = math.inf
    max_axle: float = math.inf
    max_height: float = math.inf
    max_width: float = math.inf
    speed_limit: float = math.inf
    oneway: int = 0
    grade: float = math.nan
    bridge: bool = False
    tunnel: bool = False
    ford: bool = False
    planking: bool = False
    shut: str | None = None
    remarks: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()

    @property
    def label(self) -> str:
        """Name and number, as a crew reads them from the signs."""
        return " ".join(filter(None, (self.name, f"({self.reference})" if self.reference else "")))

    @property
    def deck(self) -> bool:
        """Whether the road does not lie on the ground."""
        return self.bridge or self.tunnel
