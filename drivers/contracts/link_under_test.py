"""A link under test: what a maker hands over, and how the checks of `drivers.contracts.links` look at it."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeVar

from drivers.contracts.expectations import ContractBroken, expect, expect_below
from drivers.errors import InstrumentError, LinkError, LinkTimeout
from drivers.link import Link
from drivers.stop import Stopped, StopToken

ALLOWANCE_S = 0.05
"""How late a deadline may be noticed, in s."""
BUSY_SHARE = 0.05
"""How much of a wait may be spent computing."""
PATIENCE_S = 5.0
SHORT_S = 0.1
TRIES = 5


class ScriptedPeer(Protocol):
    """The other end of a link under test."""

    def send(self, data: bytes) -> None:
        """Send `data` now."""
        ...

    def send_later(self, seconds: float, data: bytes) -> None:
        """Send `data` in so many seconds of link time; the call returns at once."""
        ...

    def received(self, size: int) -> bytes:
        """Wait until `size` bytes have come, and return all that have since the link was opened."""
        ...

    def hang_up(self) -> None:
        """Close the line."""
        ...

    def stop_taking(self) -> None:
        """Take no more bytes, so that a write must get stuck."""
        ...


@dataclass(frozen=True, slots=True)
class LinkUnderTest:
    """A fresh link, its other end, the stop token it was opened with, and its time.

    `real_time` is false for links whose time is simulated: a second thread, a stop from outside in the middle
    of a wait, a stuck write and the time spent computing cannot be shown there. `passes_all_bytes` is
    false for a link that is made for text only.
    """

    link: Link
    peer: ScriptedPeer
    stop: StopToken
    link_time: Callable[[], float]
    real_time: bool = True
    passes_all_bytes: bool = True


_E = TypeVar("_E", bound=InstrumentError)


def read(made: LinkUnderTest, terminator: bytes = b"\n") -> bytes:
    """Return the next message; there is time enough."""
    return made.link.read_until(terminator, timeout=PATIENCE_S)


def read_for(made: LinkUnderTest, timeout: float) -> bytes:
    """Return the next message if it comes within `timeout`."""
    return made.link.read_until(b"\n", timeout=timeout)


def calls(made: LinkUnderTest) -> tuple[Callable[[], object], ...]:
    """Return one call of each kind."""
    return (
        lambda: made.link.write(b"*CLS\n"),
        lambda: made.link.read_until(b"\n", timeout=0.01),
        lambda: made.link.read_exactly(1, timeout=0.01),
        lambda: made.link.discard_input(quiet=0.0),
    )


def await_input(made: LinkUnderTest, count: int) -> None:
    """Wait until `count` bytes are in the link, without taking any: too short a read leaves them there."""
    for _ in range(100):
        try:
            made.link.read_exactly(count + 1, timeout=0.02)
        except LinkTimeout as error:
            if len(error.partial) >= count:
                return
    raise ContractBroken(f"{count} bytes sent by the peer did not come, or a short read took them away")


def is_free(link: Link) -> bool:
    """Tell whether nobody is inside `link`."""
    try:
        link.discard_input(quiet=0.0)
    except LinkError:
        return False
    return True


def stop_delay(made: LinkUnderTest, wait: Callable[[], object]) -> float:
    """Return the seconds from the setting of the stop, in the middle of `wait`, to its end."""
    set_at_s: list[float] = []

    def stop() -> None:
        set_at_s.append(time.monotonic())
        made.stop.set("hand stop")

    timer = threading.Timer(0.03, stop)
    timer.start()
    expect_stopped(wait)
    delay_s = time.monotonic() - set_at_s[0]
    timer.join()
    made.stop.clear()
    return delay_s


def expect_in_time(made: LinkUnderTest, call: Callable[[], object], *, partial: bytes | None = None) -> None:
    """Expect a `LinkTimeout` after `SHORT_S`, with little computing, once in a few tries."""
    late_s, busy_s = [], []
    for _ in range(TRIES):
        start_s, start_busy_s = made.link_time(), time.thread_time()
        error = expect_error(LinkTimeout, made, call)
        late_s.append(made.link_time() - start_s - SHORT_S)
        busy_s.append(time.thread_time() - start_busy_s)
        if partial is not None:
            expect(partial, error.partial)
        if late_s[-1] <= ALLOWANCE_S and (busy_s[-1] <= SHORT_S * BUSY_SHARE or not made.real_time):
            break
    expect_below(ALLOWANCE_S, min(late_s), "s late")
    if min(late_s) < -0.001:
        raise ContractBroken(f"the time-out came {-min(late_s):.3f} s early")
    if made.real_time:
        expect_below(SHORT_S * BUSY_SHARE, min(busy_s), "s spent computing")


def expect_error(kind: type[_E], made: LinkUnderTest, call: Callable[[], object]) -> _E:
    """Expect an error of `kind` whose message begins with the link's name; return it."""
    try:
        value = call()
    except kind as error:
        if not str(error).startswith(made.link.name):
            raise ContractBroken(
                f"a message must begin with {made.link.name!r}; got {str(error)!r}"
            ) from error
        return error
    except Exception as error:
        raise ContractBroken(f"expected {kind.__name__}; got {type(error).__name__}: {error}") from error
    raise ContractBroken(f"expected {kind.__name__}; got {value!r}")


def expect_stopped(call: Callable[[], object]) -> None:
    """Expect `call` to give way to the stop."""
    try:
        value = call()
    except Stopped:
        return
    raise ContractBroken(f"expected Stopped; got {value!r}")
