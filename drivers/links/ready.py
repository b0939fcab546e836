"""Wait until a port can be read or written, with descriptors of any number."""

import select
import sys
from collections.abc import Callable


def wait_for_input(descriptor: int) -> Callable[[float], bool]:
    """Return a function that waits up to so many seconds and tells whether `descriptor` can be read.

    A closed other end counts as readable: the read that follows finds out.
    """
    return _waiter(descriptor, writing=False)


def wait_for_room(descriptor: int) -> Callable[[float], bool]:
    """Return a function that waits up to so many seconds and tells whether `descriptor` takes bytes."""
    return _waiter(descriptor, writing=True)


def _waiter(descriptor: int, *, writing: bool) -> Callable[[float], bool]:
    # poll has no limit on the descriptor's number (select ends at 1023), but on macOS it does not serve
    # terminals (poll(2) there, BUGS; from memory).
    if sys.platform == "darwin":
        return _select_waiter(descriptor, writing=writing)
    poller = select.poll()
    poller.register(descriptor, select.POLLOUT if writing else select.POLLIN)

    def wait(seconds: float) -> bool:
        return bool(poller.poll(seconds * 1e3))

    return wait


def _select_waiter(descriptor: int, *, writing: bool) -> Callable[[float], bool]:
    wanted = [descriptor]

    def wait(seconds: float) -> bool:
        sets = ([], wanted) if writing else (wanted, [])
        return any(select.select(*sets, [], seconds))

    return wait
