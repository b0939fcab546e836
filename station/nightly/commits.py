"""Watches the commits of runs: nothing may be put on record before the run has ended."""

from drivers.clock import Clock
from sim.world import Route, World

BEGUN, COMMITTED = "close_run.begun", "close_run.committed"
"""Points of a write that `Records.open` tells of."""


class CommitWatch:
    """Hears the points of each write; says of the last run that was closed what its bench still did then.

    A run has ended when the drive is off and the route open: that is the last thing it does. From there to the commit
    no simulated time passes, as nothing is asked of an instrument.
    """

    def __init__(self) -> None:
        self.words = ""
        """What the bench still did when the last run was put on record; empty: nothing."""
        self._world: World | None = None
        self._clock: Clock | None = None
        self._begun_s = 0.0

    def look_at(self, world: World, clock: Clock) -> None:
        """Look at this world from now on."""
        self._world, self._clock = world, clock

    def __call__(self, point: str) -> None:
        """Take a point of a write."""
        if self._world is None or self._clock is None:
            return
        if point == BEGUN:
            self._begun_s = self._clock.monotonic()
            self.words = _still_doing(self._world)
        elif point == COMMITTED and self._clock.monotonic() != self._begun_s:
            self.words = "something was measured while the run was put on record"


def _still_doing(world: World) -> str:
    if world.drive.on:
        return "put on record with the drive on"
    return "" if world.route is Route.OPEN else f"put on record with route {world.route.value}: it had not ended"
