"""Look for instruments, ask each who it is, and write a bench file of what answered. No setting is sent to anybody."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from drivers.clock import RealClock
from drivers.dialect_reader import DialectError
from drivers.dialects import Dialect, read_dialect
from drivers.errors import InstrumentError, LinkOpenError
from drivers.link import Link
from drivers.links.open import open_link
from drivers.probe import Answer, Silent, who_is_at
from drivers.session import parse_identity
from drivers.stop import StopToken
from sim.bench import MAKER
from station.app.files import read_bench
from station.app.simulated import ACCURACIES, DIALECTS
from station.bench_lock import BenchLock, resolve_address
from station.core.bench_draft import BenchDraft, FoundInstrument, with_kinds
from station.core.equipment import InstrumentSetup
from station.data import data_path
from station.errors import BenchError, NestBusy

HANDS = "HANDS"
"""Model by which the simulated operator's hands answer; no instrument."""


@dataclass(frozen=True, slots=True)
class Search:
    """Where to look and what is known beforehand."""

    addresses: tuple[str, ...]
    look: bool = True
    """Also at every serial port and VISA address of this machine."""
    like: tuple[Path, ...] = ()
    """Bench files: an instrument of the same identity is taken as there."""
    told: tuple[tuple[str, str], ...] = ()
    """(address, dialect) as somebody says."""
    timeout_s: float = 1.0


def found_addresses() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the addresses that this machine lists, and what could not be looked at, in words."""
    from drivers.links.serial import serial_addresses
    from drivers.links.visa import visa_addresses

    try:
        return (*serial_addresses(), *visa_addresses()), ()
    except LinkOpenError as error:
        return serial_addresses(), (str(error),)


def draft_bench(
    search: Search, *, stop: StopToken, tell: Callable[[str], object], lock_folder: Path | None = None
) -> BenchDraft:
    """Ask everybody who they are; return what answered. What another program of the station holds is not asked.

    Raises:
        BenchError: a bench file of `like` or a dialect that was told is wrong, or the locks can't be made.
        Stopped: asked to stop.
    """
    dialects = shipped_dialects()
    told = {address: (_kind_of(dialects, name), name) for address, name in search.told}
    known = [(each, path.name) for path in search.like for each in read_bench(path).instruments]
    listed, problems = found_addresses() if search.look else ((), ())
    for words in problems:
        tell(words)
    found: list[FoundInstrument] = []
    silent: list[tuple[str, str]] = []
    hands, simulated = "", False
    for address in _each_once((*search.addresses, *(address for address, _ in search.told), *listed)):
        tell(f"asking {address} ...")
        answer = _ask(address, dialects, stop, search.timeout_s, lock_folder)
        if isinstance(answer, Silent):
            silent.append((address, answer.words))
            continue
        tell(f"  {answer.identity}")
        simulated = simulated or answer.identity.maker == MAKER
        if answer.identity.maker == MAKER and answer.identity.model == HANDS:
            hands = address
            continue
        found.append(_found(answer, known, {each.name: each for each in dialects}))
    return BenchDraft(with_kinds(found, told), tuple(silent), simulated, hands)


def shipped_dialects() -> tuple[Dialect, ...]:
    """Return every dialect that comes with the station, in order of name."""
    read = []
    for path in sorted(data_path("dialects").glob("*.toml")):
        try:
            read.append(read_dialect(path.read_text(encoding="utf-8"), str(path)))
        except DialectError as error:
            raise BenchError(str(error)) from error
    return tuple(read)


def _kind_of(dialects: Sequence[Dialect], name: str) -> str:
    for each in dialects:
        if each.name == name:
            return each.kind
    raise BenchError(f"dialect {name[:40]!r} is not known; there are {', '.join(each.name for each in dialects)}.")


def _each_once(addresses: Sequence[str]) -> Iterator[str]:
    """One serial port has several names; it is asked once."""
    seen = set()
    for address in addresses:
        place = resolve_address(address)
        if place not in seen:
            seen.add(place)
            yield address


def _ask(
    address: str, dialects: Sequence[Dialect], stop: StopToken, timeout_s: float, lock_folder: Path | None
) -> Answer | Silent:
    """Ask at one address, held for us meanwhile: a run of another program must not get our answers."""

    def opened(place: str, baud: int) -> Link:
        return open_link(place, name="probe", baud=baud or 9600, open_timeout=timeout_s, stop=stop)

    try:
        with BenchLock("bench draft", [address], where="coilgate bench draft", folder=lock_folder):
            answer = who_is_at(
                address, dialects, open_link=opened, clock=RealClock(stop=stop), timeout_s=timeout_s
            )
            if isinstance(answer, Silent) and address.upper().startswith("TCPIP"):
                return _hands_at(address, opened) or answer
            return answer
    except NestBusy as error:
        return Silent(address, str(error))


def _hands_at(address: str, opened: Callable[[str, int], Link]) -> Answer | None:
    """Ask for the simulated operator's hands, who speak lines of their own."""
    with suppress(InstrumentError):
        link = opened(address, 0)
        try:
            link.discard_input(quiet=0)
            link.write(b"ID?\n")
            return Answer(address, 0, parse_identity(link.read_until(b"\n", timeout=1.0)), "")
        finally:
            link.close()
    return None


def _found(
    answer: Answer, known: Sequence[tuple[InstrumentSetup, str]], dialects: dict[str, Dialect]
) -> FoundInstrument:
    identity = answer.identity
    whole = ",".join((identity.maker, identity.model, identity.serial))
    baud = answer.baud
    for setup, file in known:
        if setup.identity and str(identity).startswith(setup.identity):
            return FoundInstrument(answer.address, whole, setup.kind, setup.dialect, baud, setup.accuracies, file)
    dialect = answer.dialect
    if not dialect and identity.maker == MAKER:
        dialect = DIALECTS.get(identity.model, "")
    kind = dialects[dialect].kind if dialect else ""
    if identity.maker == MAKER and kind:
        return FoundInstrument(answer.address, whole, kind, dialect, baud, ACCURACIES[kind], "the simulation")
    return FoundInstrument(answer.address, whole, kind, dialect, baud)
