"""Whoever loads and unloads: an operator who is told on the screen, or the simulated operator's hands."""

from collections.abc import Callable

from drivers.errors import ReplyError
from drivers.link import Link
from station.errors import BenchError

ANSWER_TIMEOUT_S = 2.0


class ToldHands:
    """A person: the events tell what to do, the fixture tells when it is done.

    `confirm(words)` returns when the operator has confirmed something that the fixture can't see.
    """

    def __init__(self, confirm: Callable[[str], None]) -> None:
        self._confirm = confirm

    def unload(self) -> None:
        """Nothing to do here: the operator has been told."""

    def load(self, serial: str) -> None:
        """Nothing to do here: the operator has been told."""

    def place_spacer(self, height_m: float) -> None:
        """Wait until the operator says that the spacer is in place."""
        self._confirm(f"Place the {height_m * 1e3:g} mm spacer.")


class SimulatedHands:
    """The simulated operator, reached over a link of its own, in lines of ASCII."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def unload(self) -> None:
        """Take the unit out of the nest; what is out already stays out."""
        self._tell("UNLOAD", allowed=("nest is empty",))

    def load(self, serial: str) -> None:
        """Put the unit into the nest. Raises `BenchError` if the simulated lot has no such unit."""
        self._tell(f"LOAD {serial}")

    def place_spacer(self, height_m: float) -> None:
        """Place the spacer of this height."""
        self._tell(f"SPACER {round(height_m * 1e6)}")

    def warm(self, kelvin: float) -> None:
        """Let the next unit come from a warm hand."""
        self._tell(f"WARM {kelvin:g}")

    def say(self, words: str) -> None:
        """Tell the hands something in the words of their own line protocol, such as `GUARD OPEN`."""
        self._tell(words)

    def trace(self, around: Callable[[Link], Link]) -> None:
        """Talk through `around(link)` from now on."""
        self._link = around(self._link)

    def close(self) -> None:
        """Let the link go."""
        self._link.close()

    def _tell(self, words: str, *, allowed: tuple[str, ...] = ()) -> None:
        self._link.discard_input(quiet=0.0)  # a late answer to what was asked before is not this one's
        self._link.write(words.encode("ascii") + b"\n")
        answer = self._link.read_until(b"\n", timeout=ANSWER_TIMEOUT_S).decode("ascii", "replace")
        if answer == "OK" or any(each in answer for each in allowed):
            return
        if answer.startswith("ERR "):
            raise BenchError(f"the simulated operator: asked to {words!r}; {answer.removeprefix('ERR ')}.")
        raise ReplyError(
            f"the simulated operator: asked to {words!r}; answered {answer!r}. Start it again.",
            received=answer.encode(),
        )
