"""Who is at an address? Listening first, then asking for the identity in each dialect's own way; nothing else is sent.

No setting, no trigger, no output order: an instrument that is being used for something else keeps doing it. What does
not answer costs the time-out of each question.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial

from drivers.build import build_driver
from drivers.clock import Clock
from drivers.dialects import Dialect, FixtureDialect, ThermometerDialect, Wire
from drivers.errors import InstrumentError, LinkOpenError
from drivers.link import Link
from drivers.links.open import Via, find_route
from drivers.readings import Identity
from drivers.session import Exchange, parse_identity

IDN_BAUDS = (9600, 115_200)
"""Speeds at which `*IDN?` is asked on a serial line."""

LISTEN_S = 0.6
"""How long a line is listened to before anything is asked: a streaming instrument talks within."""

Opener = Callable[[str, int], Link]
"""Opens an address at a speed (looked at on serial lines only)."""


@dataclass(frozen=True, slots=True)
class Answer:
    """Who answered at an address. `dialect` is empty where `*IDN?` was answered: that tells no command words."""

    address: str
    baud: int
    identity: Identity
    dialect: str


@dataclass(frozen=True, slots=True)
class Silent:
    """Nobody that we know answered at an address, or it could not be opened: `words` say what happened."""

    address: str
    words: str


def who_is_at(
    address: str, dialects: Sequence[Dialect], *, open_link: Opener, clock: Clock, timeout_s: float = 1.0
) -> Answer | Silent:
    """Return who answers at an address. Before each question the line is ended, so that none runs into the next.

    Args:
        dialects: those of fixtures and thermometers are asked in their own way; the others by `*IDN?` (IEEE 488.2).
        open_link: opens it; raises `LinkOpenError`.
        timeout_s: how long `*IDN?` may take; a dialect's own identity has the dialect's time-out.
    """
    try:
        serial = find_route(address).via is Via.SERIAL
    except ValueError as error:
        return Silent(address, str(error))
    for baud, question in _questions(dialects, clock, timeout_s, serial=serial):
        try:
            link = open_link(address, baud)
        except LinkOpenError as error:
            return Silent(address, str(error))
        try:
            found = question(link, address, baud)
        finally:
            with suppress(InstrumentError):
                link.close()
        if found is not None:
            return found
    return Silent(address, "nobody answered")


_Question = Callable[[Link, str, int], Answer | None]


def _questions(
    dialects: Sequence[Dialect], clock: Clock, timeout_s: float, *, serial: bool
) -> Iterator[tuple[int, _Question]]:
    """Yield what to ask at which speed, what is likeliest at such an address first."""

    def ask_idn(link: Link, address: str, baud: int) -> Answer | None:
        return _ask_idn(link, address, baud, timeout_s)

    own = [each for each in dialects if isinstance(each, FixtureDialect | ThermometerDialect)]
    if not serial:
        yield 0, ask_idn
        yield 0, partial(_ask_own, dialects=own, clock=clock)
        return
    for speed in dict.fromkeys(each.wire.baud for each in own if each.wire.baud):
        fitting = [each for each in own if each.wire.baud == speed]
        yield speed, partial(_ask_own, dialects=fitting, clock=clock)
    for speed in IDN_BAUDS:
        yield speed, ask_idn


def _ask_own(
    link: Link, address: str, baud: int, *, dialects: Sequence[Dialect], clock: Clock
) -> Answer | None:
    """Ask in each dialect's own way; if somebody talks unasked, only those who do."""
    streaming = [each for each in dialects if isinstance(each, ThermometerDialect) and each.streaming]
    if streaming and _talks(link):
        return _first(link, address, baud, streaming, clock)
    return _first(link, address, baud, [each for each in dialects if each not in streaming], clock)


def _talks(link: Link) -> bool:
    """Whether something comes unasked."""
    with suppress(InstrumentError):
        link.discard_input(quiet=0)
        link.read_exactly(1, timeout=LISTEN_S)
        return True
    return False


def _first(link: Link, address: str, baud: int, dialects: Sequence[Dialect], clock: Clock) -> Answer | None:
    for dialect in dialects:
        with suppress(InstrumentError):
            # What was asked in another dialect may still stand in its line buffer.
            link.write(dialect.wire.terminator_out)
            driver = build_driver(dialect.kind, link, clock, dialect, name=address)
            return Answer(address, baud, driver.identify(), dialect.name)
    return None


def _ask_idn(link: Link, address: str, baud: int, timeout_s: float) -> Answer | None:
    exchange = Exchange(link, Wire(b"\n", b"\n", timeout_s, 0.1))
    with suppress(InstrumentError):
        link.write(b"\n")
        return Answer(address, baud, parse_identity(exchange.ask(b"*IDN?").rstrip(b"\r")), "")
    return None
