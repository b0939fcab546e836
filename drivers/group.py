"""Readings taken one after the other that one closing query proves together.

A measurement counts only after a closing query (`drivers.session`, Framing). Where several are taken in a
row, one at the end proves them all: if responses are shifted by one anywhere in the group, the closing query
takes a reading, which isn't of its form. So no reading leaves a group before the whole of it is proved, and
what an abandoned group has taken is never seen by anybody.
"""

from collections.abc import Callable
from typing import Generic, TypeVar

from drivers.errors import InstrumentError

T = TypeVar("T")


class Group(Generic[T]):
    """Takes readings, hands them out together. One use: it is empty when made, and ends with `hand_out`."""

    def __init__(self, take: Callable[[], T], prove: Callable[[], object]) -> None:
        """Make an empty group.

        Args:
            take: takes one reading, not proved yet.
            prove: asks the closing query; raises if the readings since the group was made can't be believed.
        """
        self._take = take
        self._prove = prove
        self._taken: list[T] = []
        self._whole = True

    def take(self) -> None:
        """Take one reading and keep it back. Whatever this raises, the group hands out nothing any more."""
        self._require_whole()
        self._whole = False
        self._taken.append(self._take())
        self._whole = True

    def hand_out(self) -> tuple[T, ...]:
        """Prove all readings that were taken, and return them in order.

        Raises:
            InstrumentError: a reading had failed, or the group has been handed out before.
            ReplyError, LinkTimeout, InstrumentReported: the closing query failed: nothing was measured.
        """
        self._require_whole()
        self._whole = False
        self._prove()
        return tuple(self._taken)

    def tended_by(self, action: Callable[[], object]) -> "Group[T]":
        """Return an empty group of the same kind that calls `action` before each reading."""
        take = self._take

        def act_and_take() -> T:
            action()
            return take()

        return Group(act_and_take, self._prove)

    def _require_whole(self) -> None:
        if not self._whole:
            raise InstrumentError(
                "readings were asked of a group that failed or was handed out before. Start a new group."
            )
