"""Drivers over their peers, as the drivers' tests need them."""

from pathlib import Path
from typing import TypeVar

from drivers.clock import ManualClock
from drivers.contracts.scripted import ScriptedLink
from drivers.dialects import (
    Dialect,
    FixtureDialect,
    LcrDialect,
    SourceDialect,
    ThermometerDialect,
    load_dialect,
)
from drivers.fixture import LineFixture
from drivers.lcr import ScpiLcrMeter
from drivers.source import ScpiSource
from drivers.thermometer import SerialThermometer
from tests.drivers.peers import (
    FixturePeer,
    LcrPeer,
    LcrStatusFirstPeer,
    LcrStatusLastPeer,
    PolledThermometerPeer,
    SourcePeer,
    StreamingThermometerPeer,
)

FOLDER = Path(__file__).parents[2] / "fixtures" / "dialects"

DialectT = TypeVar("DialectT", LcrDialect, SourceDialect, FixtureDialect, ThermometerDialect)


def shipped(name: str, kind: type[DialectT]) -> DialectT:
    """Return a dialect that ships, of the kind that the test expects."""
    dialect: Dialect = load_dialect(FOLDER / f"{name}.toml")
    if not isinstance(dialect, kind):
        raise TypeError(f"dialect {name} is {type(dialect).__name__}")
    return dialect


LCR_LAST = shipped("lcr-status-last", LcrDialect)
LCR_FIRST = shipped("lcr-status-first", LcrDialect)
SOURCE = shipped("source-scpi", SourceDialect)
FIXTURE = shipped("fixture-line", FixtureDialect)
POLLED = shipped("thermometer-polled", ThermometerDialect)
STREAMING = shipped("thermometer-streaming", ThermometerDialect)


class LcrBench:
    """A meter over its peer."""

    def __init__(self, dialect: LcrDialect) -> None:
        self.peer: LcrPeer = LcrStatusFirstPeer() if dialect is LCR_FIRST else LcrStatusLastPeer()
        self.clock = ManualClock()
        self.link = ScriptedLink(self.peer, self.clock, terminator_out=b"\n", name="lcr-1")
        self.driver = ScpiLcrMeter(self.link, self.clock, dialect)


class SourceBench:
    """A source over its peer; `reopen` gives new links to the same peer."""

    def __init__(self) -> None:
        self.peer = SourcePeer()
        self.clock = ManualClock()
        self.links: list[ScriptedLink] = []
        self.link = self.open()
        self.driver = ScpiSource(self.link, self.clock, SOURCE, reopen=self.open)

    def open(self) -> ScriptedLink:
        """Open a link to the peer."""
        link = ScriptedLink(self.peer, self.clock, terminator_out=b"\n", name="source-1")
        self.links.append(link)
        return link


class FixtureBench:
    """A fixture over its peer."""

    def __init__(self, *, has_stage: bool | None = None) -> None:
        self.peer = FixturePeer()
        self.clock = ManualClock()
        self.link = ScriptedLink(self.peer, self.clock, terminator_out=b"\n", name="fixture-1")
        self.driver = LineFixture(self.link, self.clock, FIXTURE, has_stage=has_stage)


class PolledBench:
    """A polled thermometer over its peer."""

    def __init__(self) -> None:
        self.peer = PolledThermometerPeer()
        self.clock = ManualClock()
        self.link = ScriptedLink(self.peer, self.clock, terminator_out=b"\r", name="thermometer-1")
        self.driver = SerialThermometer(self.link, self.clock, POLLED)


class StreamingBench:
    """A streaming thermometer over its peer."""

    def __init__(self) -> None:
        self.peer = StreamingThermometerPeer()
        self.clock = ManualClock()
        self.link = ScriptedLink(self.peer, self.clock, terminator_out=b"\r\n", name="thermometer-2")
        self.driver = SerialThermometer(self.link, self.clock, STREAMING)
