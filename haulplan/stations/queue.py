"""A station's yard: hoses, and a queue in which the least reach goes first.

The same yard serves the day's procession and the check against queueing theory, where
engines come at random and take what time they are told.
"""

from collections.abc import Generator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import simpy

__all__ = ["Yard", "simulate_yard"]

Steps = Generator["simpy.Event", Any, None]


@dataclass(kw_only=True)
class Yard:
    """Hoses of one station as a queue with priorities; counts who is there.

    `crowd` holds the clock and how many stand there, waiting or at a hose, at each change.
    """

    env: "simpy.Environment"
    hoses: int
    crowd: list[tuple[float, int]] = field(default_factory=list)
    present: int = 0

    def __post_init__(self) -> None:
        """Lay the hoses out."""
        import simpy  # noqa: PLC0415  only simulations need it

        self.resource = simpy.PriorityResource(self.env, capacity=self.hoses)

    def come(self) -> None:
        """Count an engine in."""
        self.present += 1
        self.crowd.append((float(self.env.now), self.present))

    def go(self) -> None:
        """Count an engine out."""
        self.present -= 1
        self.crowd.append((float(self.env.now), self.present))

    def hose(self, reach: float) -> Any:  # noqa: ANN401  a simpy request
        """Ask for a hose; among those waiting the least reach [m] has it first."""
        return self.resource.request(priority=round(reach))


def simulate_yard(arrivals: Sequence[float], services: Sequence[float], hoses: int) -> list[float]:
    """How long each arrival waits for a hose, equals served in the order they come.

    Parameters
    ----------
    arrivals
        Clocks, rising. [s]
    services
        How long each is at a hose. [s]
    hoses
        How many there are.

    Returns
    -------
    waits
        Of each. [s]

    Examples
    --------
    >>> simulate_yard([0.0, 1.0, 2.0], [5.0, 5.0, 5.0], 1)
    [0.0, 4.0, 8.0]
    """
    import simpy  # noqa: PLC0415  only simulations need it

    env = simpy.Environment()
    yard = Yard(env=env, hoses=hoses)
    waits = [0.0] * len(arrivals)

    def one(number: int) -> Steps:
        yield env.timeout(arrivals[number])
        with yard.hose(0.0) as request:
            yield request
            waits[number] = float(env.now) - arrivals[number]
            yield env.timeout(services[number])

    for number in range(len(arrivals)):
        env.process(one(number))
    env.run()
    return waits
