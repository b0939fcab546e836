"""What every `Link` keeps to, as checks that run on any of them.

    def make_link() -> AbstractContextManager[LinkUnderTest]: ...

    check_link(make_link)

The maker opens a fresh link whose other end is a scripted peer. `LINK_CHECKS` holds the checks one by one,
for a test runner that wants to name them. A broken one raises `ContractBroken`; there is nothing to install.

Times are checked as the best of a few tries: a link that keeps its deadline keeps it once in five on any
computer, a link that doesn't never does.
"""

import threading
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, suppress

from drivers.contracts.expectations import ContractBroken, expect, expect_below
from drivers.contracts.link_under_test import (
    BUSY_SHARE,
    PATIENCE_S,
    SHORT_S,
    TRIES,
    LinkUnderTest,
    ScriptedPeer,
    await_input,
    calls,
    expect_error,
    expect_in_time,
    expect_stopped,
    is_free,
    read,
    read_for,
    stop_delay,
)
from drivers.errors import LinkClosed, LinkError, LinkTimeout, ReplyError
from drivers.stop import POLL_S

__all__ = ["LINK_CHECKS", "ContractBroken", "LinkUnderTest", "MakeLink", "ScriptedPeer", "check_link"]

_EVERY_BYTE = bytes(range(256))
_TOO_MUCH = bytes(16_777_216)
"""More than the buffers between two processes hold."""

MakeLink = Callable[[], AbstractContextManager[LinkUnderTest]]
LinkCheck = Callable[[LinkUnderTest], None]


def check_link(make_link: MakeLink) -> None:
    """Run every check, each on a link of its own; raises `ContractBroken` naming the one that failed."""
    for check in LINK_CHECKS:
        with make_link() as made:
            try:
                check(made)
            except ContractBroken as error:
                raise ContractBroken(f"{check.__name__}: {error}") from error


def check_write_arrives_whole(made: LinkUnderTest) -> None:
    """What is written comes out at the other end, all of it and nothing else."""
    data = _EVERY_BYTE if made.passes_all_bytes else b"VOLT 1.0;CURR 0.1\r\n"
    made.link.write(data)
    expect(data, made.peer.received(len(data)))


def check_message_comes_without_terminator(made: LinkUnderTest) -> None:
    """A message is handed out without its terminator."""
    made.peer.send(b"+1.0E+00\n")
    expect(b"+1.0E+00", read(made))


def check_empty_message_is_a_message(made: LinkUnderTest) -> None:
    """A bare terminator is an empty message."""
    made.peer.send(b"\nA\n")
    expect((b"", b"A"), (read(made), read(made)))


def check_next_message_stays(made: LinkUnderTest) -> None:
    """What follows the terminator stays for the next read, of either kind."""
    made.peer.send(b"A\nB\nCDE")
    expect((b"A", b"B"), (read(made), read(made)))
    expect(b"CDE", made.link.read_exactly(3, timeout=PATIENCE_S))


def check_split_message_is_joined(made: LinkUnderTest) -> None:
    """A message that comes in pieces is whole, also when its terminator is cut in two."""
    for at, piece in enumerate((b"+1.2345", b"6E-06\r", b"\nX\r\n")):
        made.peer.send_later(0.01 * at, piece)
    expect((b"+1.23456E-06", b"X"), (read(made, b"\r\n"), read(made, b"\r\n")))


def check_bytes_pass_unchanged(made: LinkUnderTest) -> None:
    """The link knows no characters: any byte passes, line control and non-ASCII included."""
    if not made.passes_all_bytes:
        return
    made.peer.send(_EVERY_BYTE)
    expect(_EVERY_BYTE, made.link.read_exactly(256, timeout=PATIENCE_S))


def check_silence_is_a_timeout(made: LinkUnderTest) -> None:
    """No answer is a `LinkTimeout` in time, without computing meanwhile."""
    made.link.write(b"FETC?\n")
    expect_in_time(made, lambda: read_for(made, SHORT_S), partial=b"")


def check_half_message_is_a_timeout(made: LinkUnderTest) -> None:
    """Half a message is a `LinkTimeout` that carries it."""
    made.link.write(b"FETC?\n")
    made.peer.send(b"+1.2345")
    await_input(made, 7)
    expect_in_time(made, lambda: read_for(made, SHORT_S), partial=b"+1.2345")


def check_tail_is_never_a_message(made: LinkUnderTest) -> None:
    """After a time-out in the middle of a message its tail is not handed out as if it were one."""
    made.peer.send(b"+1.2345")
    await_input(made, 7)
    expect_error(LinkTimeout, made, lambda: read_for(made, 0.0))
    made.peer.send(b"6E-06\n")
    expect(b"+1.23456E-06", read(made))


def check_short_read_is_a_timeout(made: LinkUnderTest) -> None:
    """Fewer bytes than asked for are a `LinkTimeout` that carries them."""
    made.link.write(b"CURV?\n")
    made.peer.send(b"12345")
    await_input(made, 5)
    expect_in_time(made, lambda: made.link.read_exactly(6, timeout=SHORT_S), partial=b"12345")


def check_drip_does_not_hold_the_deadline(made: LinkUnderTest) -> None:
    """Bytes without an end do not put the deadline off."""
    made.link.write(b"FETC?\n")
    for at in range(100):
        made.peer.send_later(0.01 * at, b"1")
    expect_in_time(made, lambda: read_for(made, SHORT_S))


def check_longest_message_passes(made: LinkUnderTest) -> None:
    """A message of just the limit passes."""
    made.peer.send(b"7" * 100 + b"\r\n")
    expect(b"7" * 100, made.link.read_until(b"\r\n", timeout=PATIENCE_S, limit=100))


def check_too_long_message_is_refused(made: LinkUnderTest) -> None:
    """One byte more is a `ReplyError` that carries it, also with its terminator here."""
    made.peer.send(b"7" * 101 + b"\n")
    error = expect_error(ReplyError, made, lambda: made.link.read_until(b"\n", timeout=PATIENCE_S, limit=100))
    expect(b"7", error.received[:1])


def check_endless_message_is_refused(made: LinkUnderTest) -> None:
    """A message without an end is a `ReplyError` at the limit, and its tail is never a message."""
    made.peer.send(b"7" * 1_000)
    expect_error(ReplyError, made, lambda: made.link.read_until(b"\n", timeout=PATIENCE_S, limit=100))
    made.peer.send(b"7\nA\n")
    expect_error(ReplyError, made, lambda: made.link.read_until(b"\n", timeout=PATIENCE_S, limit=100))
    made.link.discard_input(quiet=0.3)
    made.peer.send(b"B\n")
    expect(b"B", read(made))


def check_discard_takes_what_is_here(made: LinkUnderTest) -> None:
    """Discarding with no quiet takes what has come, hands it back and does not wait."""
    made.peer.send(b"stale\n")
    await_input(made, 6)
    expect(b"stale\n", made.link.discard_input(quiet=0.0))
    expect(b"", made.link.discard_input(quiet=0.0))


def check_discard_waits_for_quiet(made: LinkUnderTest) -> None:
    """Discarding takes what comes until the line has been quiet, and nothing of it is read later."""
    made.peer.send(b"+1.2345")
    made.peer.send_later(0.02, b"6E-06\n")
    made.peer.send_later(0.04, b"+9")
    expect(b"+1.23456E-06\n+9", made.link.discard_input(quiet=0.3))
    made.peer.send(b"A\n")
    expect(b"A", read(made))


def check_discard_gives_up_on_a_babbler(made: LinkUnderTest) -> None:
    """Discarding from a peer that never falls silent is a `LinkTimeout`."""
    made.link.write(b"*RST\n")
    for at in range(100):
        made.peer.send_later(0.01 * at, b"A\n")
    expect_in_time(made, lambda: made.link.discard_input(quiet=0.5, timeout=SHORT_S))


def check_closed_peer_is_told_at_once(made: LinkUnderTest) -> None:
    """A closed line is a `LinkClosed` at once, not a time-out."""
    made.link.write(b"FETC?\n")
    made.peer.received(6)
    made.peer.hang_up()
    start_s, busy_s = made.link_time(), time.thread_time()
    expect_error(LinkClosed, made, lambda: read(made))
    expect_below(PATIENCE_S / 2, made.link_time() - start_s, "s until the closed line was told")
    expect_below(PATIENCE_S * BUSY_SHARE, time.thread_time() - busy_s, "s spent computing")


def check_message_cut_by_close_is_none(made: LinkUnderTest) -> None:
    """A message that the closing cuts short is a `LinkClosed`, not a message; the one before it is good."""
    made.peer.send(b"A\n+1.2345")
    await_input(made, 9)
    made.peer.hang_up()
    expect(b"A", read(made))
    expect_error(LinkClosed, made, lambda: read(made))
    expect_error(LinkClosed, made, lambda: made.link.read_exactly(8, timeout=PATIENCE_S))


def check_write_to_closed_peer_is_told(made: LinkUnderTest) -> None:
    """Writing to a closed line is a `LinkClosed` by the second write (the first may go unnoticed)."""
    made.link.write(b"*CLS\n")
    made.peer.received(5)
    made.peer.hang_up()
    expect_error(LinkClosed, made, lambda: read(made))

    def write_often() -> None:
        for _ in range(20):
            made.link.write(b"*CLS\n")
            made.stop.wait(0.01)

    expect_error(LinkClosed, made, write_often)


def check_stuck_write_is_a_timeout(made: LinkUnderTest) -> None:
    """A peer that takes nothing is a `LinkTimeout`, and no computing meanwhile."""
    if not made.real_time:
        return
    made.peer.stop_taking()
    start_s, busy_s = time.monotonic(), time.thread_time()
    expect_error(LinkTimeout, made, lambda: made.link.write(_TOO_MUCH))
    expect_below(PATIENCE_S, time.monotonic() - start_s, "s until the stuck write was told")
    expect_below(PATIENCE_S * BUSY_SHARE, time.thread_time() - busy_s, "s spent computing")


def check_second_thread_is_refused(made: LinkUnderTest) -> None:
    """A second thread gets a `LinkError` while the first is inside; the first gets its own answer."""
    if not made.real_time:
        return
    got: list[bytes] = []

    def read_first() -> None:
        while not got:
            # The other thread looks in from time to time; whoever comes second is refused.
            with suppress(LinkError):
                got.append(read(made))

    first = threading.Thread(target=read_first)
    first.start()
    deadline_s = time.monotonic() + PATIENCE_S
    while is_free(made.link) and time.monotonic() < deadline_s:
        time.sleep(0.001)
    for call in calls(made):
        expect_error(LinkError, made, call)
    made.peer.send(b"A\n")
    first.join(PATIENCE_S)
    expect([b"A"], got)


def check_stop_comes_first(made: LinkUnderTest) -> None:
    """After a stop no call moves a byte any more."""
    made.peer.send(b"A\n")
    await_input(made, 2)
    made.stop.set("hand stop")
    for call in calls(made):
        expect_stopped(call)
    made.stop.clear()
    expect(b"A", read(made))


def check_stop_ends_a_wait(made: LinkUnderTest) -> None:
    """A wait gives way to the stop within 0.1 s."""
    if not made.real_time:
        return
    waits = (
        lambda: made.link.read_until(b"\n", timeout=PATIENCE_S),
        lambda: made.link.read_exactly(9, timeout=PATIENCE_S),
        lambda: made.link.discard_input(quiet=PATIENCE_S, timeout=PATIENCE_S),
    )
    for wait in waits:
        delays_s = [stop_delay(made, wait)]
        while delays_s[-1] > POLL_S and len(delays_s) < TRIES:
            delays_s.append(stop_delay(made, wait))
        expect_below(POLL_S, min(delays_s), "s until the stop was noticed")


def check_stop_waits_behind_a_shield(made: LinkUnderTest) -> None:
    """While the bench is made safe the link works, stop or not."""
    made.stop.set("hand stop")
    with made.stop.shielded():
        made.link.discard_input(quiet=0.01)
        made.link.write(b"OUTP 0\n")
        expect(b"OUTP 0\n", made.peer.received(7))
        made.peer.send_later(0.15, b"0\n")
        expect(b"0", read(made))
    expect_stopped(lambda: read(made))


def check_close_twice_is_harmless(made: LinkUnderTest) -> None:
    """Closing twice does nothing; a closed link says so."""
    made.link.close()
    made.link.close()
    for call in calls(made):
        expect_error(LinkClosed, made, call)


LINK_CHECKS: tuple[LinkCheck, ...] = (
    check_write_arrives_whole,
    check_message_comes_without_terminator,
    check_empty_message_is_a_message,
    check_next_message_stays,
    check_split_message_is_joined,
    check_bytes_pass_unchanged,
    check_silence_is_a_timeout,
    check_half_message_is_a_timeout,
    check_tail_is_never_a_message,
    check_short_read_is_a_timeout,
    check_drip_does_not_hold_the_deadline,
    check_longest_message_passes,
    check_too_long_message_is_refused,
    check_endless_message_is_refused,
    check_discard_takes_what_is_here,
    check_discard_waits_for_quiet,
    check_discard_gives_up_on_a_babbler,
    check_closed_peer_is_told_at_once,
    check_message_cut_by_close_is_none,
    check_write_to_closed_peer_is_told,
    check_stuck_write_is_a_timeout,
    check_second_thread_is_refused,
    check_stop_comes_first,
    check_stop_ends_a_wait,
    check_stop_waits_behind_a_shield,
    check_close_twice_is_harmless,
)
