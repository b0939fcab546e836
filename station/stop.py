"""The stop token of a nest: every look at it also tells the watchdog that the station is alive."""

from collections.abc import Callable

from drivers.stop import StopToken


def _nothing() -> None:
    return


class NestStop(StopToken):
    """A stop token with a hook, and with an end that no `clear` takes back.

    All sleeps and link waits look at the token at least every 0.1 s, in the nest's thread: so the hook is
    where the lease of the watchdog is renewed. A station that hangs doesn't look, and its lease runs out.
    """

    def __init__(self) -> None:
        super().__init__()
        self._ended = False
        self.on_look: Callable[[], None] = _nothing
        """Called by every `check`, shielded or not. May raise."""

    @property
    def ended(self) -> bool:
        """Tell whether the whole session was asked to end (a signal), not only the present run."""
        return self._ended

    def end(self, reason: str) -> None:
        """Ask the session to end: a stop that `clear` does not take back. Safe in a signal handler."""
        self._ended = True
        self.set(reason)

    def clear(self) -> None:
        """Forget a stop of the last run; one that ends the session stays."""
        if not self._ended:
            super().clear()

    def check(self) -> None:
        """Call the hook, then raise `Stopped` if a stop was asked for and no shield is up."""
        self.on_look()
        if self._set:  # nearly never, and this is looked at several times a message
            super().check()
