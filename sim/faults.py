"""Scripted faults, as data, on what an instrument sends and on what it is told.

`FaultyInstrument` wraps any instrument of a bench, counts its messages, and spoils the ones that the script
names: so a test can put each fault at every point of a run.
"""

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from sim.instrument import Emission
from sim.instruments.line import LineInstrument


class FaultKind(StrEnum):
    """What goes wrong. `amount` means what the line says; `seconds` is a delay or a gap."""

    # On what the instrument sends.
    LATE = "late"
    """Sent `seconds` later."""
    SPLIT = "split"
    """The first half in time, the rest `seconds` later."""
    CUT = "cut"
    """The first half in time, the rest never."""
    LOST_REPLY = "lost_reply"
    DOUBLED = "doubled"
    """Sent again `seconds` later."""
    GARBLED = "garbled"
    """One byte in the middle is another (`~`)."""
    NON_ASCII = "non_ascii"
    """One byte in the middle is 0xB5."""
    REPLACED = "replaced"
    """`data` is sent instead."""
    BABBLE = "babble"
    """`amount` bytes without a terminator (100,000 unless said) instead of the message."""
    DRIP = "drip"
    """Digits without end, one each `seconds`, `amount` of them (1000 unless said), instead of the message."""
    HANG_UP_BEFORE = "hang_up_before"
    HANG_UP_HALF_WAY = "hang_up_half_way"
    HANG_UP_AFTER = "hang_up_after"
    # On what it is told.
    COMMAND_LOST = "command_lost"
    SILENT = "silent"
    """It hears and says nothing from now on."""
    # On the instrument itself.
    WRONG_IDENTITY = "wrong_identity"
    """From now on it says that it is `data`."""
    OVERLOAD = "overload"
    """The next `amount` readings (1 unless said) are overload, or an open sensor."""
    ERROR_ENTRY = "error_entry"
    """An entry in the error queue, or a hardware error from the fixture."""
    FROZEN = "frozen"
    """It goes on showing the last value."""
    DRIFT = "drift"
    """Readings drift by `amount` of their value an hour."""
    STUCK = "stuck"
    """Relay or output stays as it is from now on, whatever is ordered and reported."""


_SPOIL_HEARING = frozenset({FaultKind.COMMAND_LOST, FaultKind.SILENT})
_SPOIL_INSTRUMENT = frozenset(
    {
        FaultKind.WRONG_IDENTITY,
        FaultKind.OVERLOAD,
        FaultKind.ERROR_ENTRY,
        FaultKind.FROZEN,
        FaultKind.DRIFT,
        FaultKind.STUCK,
    }
)
SENDING_FAULTS = frozenset(FaultKind) - _SPOIL_HEARING - _SPOIL_INSTRUMENT
"""Kinds whose `nth` counts the messages that the instrument sends; all others count what it is told."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: at the `nth` message (from 0) of those that contain `matching`, `times` messages long.

    Messages counted are those that the instrument sends for `SENDING_FAULTS`, else those that it is told
    (sent ones again for an instrument that takes no commands). `matching` is looked for in the message itself
    and, for one that is sent, in the last message that the instrument was told. `times` 0 is for ever.
    `for_good`: once it has hung up it does so again whenever somebody connects.
    """

    instrument: str
    kind: FaultKind
    nth: int = 0
    matching: str = ""
    times: int = 1
    seconds: float = 0.0
    amount: float = 0.0
    data: bytes = b""
    for_good: bool = False


@dataclass(slots=True)
class _Armed:
    """A fault and how many messages it has seen."""

    fault: Fault
    seen: int = 0

    def strikes(self, *texts: bytes) -> bool:
        fault = self.fault
        if fault.matching and not any(fault.matching.encode() in text for text in texts):
            return False
        place = self.seen - fault.nth
        self.seen += 1
        return place >= 0 and (fault.times == 0 or place < fault.times)


class FaultyInstrument:
    """Any simulated instrument of the bench with a fault script around it.

    Passes program messages on whole (the instrument cannot tell) and keeps the order of what is sent.
    """

    def __init__(self, inner: LineInstrument, faults: Sequence[Fault]) -> None:
        self.name = inner.name
        self.inner = inner
        self.told = 0
        """Messages received so far (empty ones not counted)."""
        self.sent = 0
        """Messages sent so far."""
        self.struck: list[Fault] = []
        """Faults that have come true, in order."""
        by_sent = SENDING_FAULTS | (_SPOIL_INSTRUMENT if inner.unasked else frozenset())
        self._sending = [_Armed(fault) for fault in faults if fault.kind in by_sent]
        self._hearing = [_Armed(fault) for fault in faults if fault.kind not in by_sent]
        self._buffer = b""
        self._last_told = b""
        self._pending: deque[Emission] = deque()
        self._silent = False
        self._unplugged = False

    def arm(self, fault: Fault) -> None:
        """Add a fault to the script; its `nth` counts from now on."""
        by_sent = fault.kind in SENDING_FAULTS or (self.inner.unasked and fault.kind in _SPOIL_INSTRUMENT)
        (self._sending if by_sent else self._hearing).append(_Armed(fault))

    def mend(self) -> None:
        """Somebody has put the instrument right: it is sound again, and no fault is left in the script."""
        self._sending.clear()
        self._hearing.clear()
        self._silent = self._unplugged = False
        self.inner.mend()

    def connect(self, now_s: float) -> None:
        """A client has opened the line."""
        self._buffer = b""
        self._pending.clear()
        self.inner.connect(now_s)
        if self._unplugged:
            self._pending.append(Emission(now_s, b"", hang_up=True))

    def disconnect(self, now_s: float) -> None:
        """The client has gone."""
        self._buffer = b""
        self._pending.clear()
        self.inner.disconnect(now_s)

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes, pass on what the script lets through."""
        if self._unplugged:
            return
        terminator = self.inner.terminator
        *lines, self._buffer = (self._buffer + data).split(terminator)
        for line in lines:
            if not line.strip():
                self.inner.receive(line + terminator, now_s)
                continue
            self.told += 1
            self._last_told = line
            lost = self._strike_hearing(line, now_s)
            if not (lost or self._silent):
                self.inner.receive(line + terminator, now_s)

    def advance(self, now_s: float) -> list[Emission]:
        """Let time pass; return what is due, spoilt as scripted."""
        for emission in self.inner.advance(now_s):
            self._take(emission)
        due = []
        while self._pending and self._pending[0].time_s <= now_s:
            due.append(self._pending.popleft())
        return due

    def next_due(self) -> float | None:
        """Return when something next happens by itself."""
        inner_s = self.inner.next_due()
        if not self._pending:
            return inner_s
        pending_s = self._pending[0].time_s
        return pending_s if inner_s is None else min(inner_s, pending_s)

    def _strike_hearing(self, line: bytes, now_s: float) -> bool:
        lost = False
        for armed in self._hearing:
            if not armed.strikes(line):
                continue
            self.struck.append(armed.fault)
            if armed.fault.kind is FaultKind.COMMAND_LOST:
                lost = True
            elif armed.fault.kind is FaultKind.SILENT:
                self._silent = True
            else:
                self._impair(armed.fault)
        return lost

    def _impair(self, fault: Fault) -> None:
        state = self.inner.impairments
        if fault.kind is FaultKind.WRONG_IDENTITY:
            state.identity = fault.data.decode("ascii")
        elif fault.kind is FaultKind.OVERLOAD:
            state.overload_left += int(fault.amount or 1)
        elif fault.kind is FaultKind.FROZEN:
            state.frozen = True
        elif fault.kind is FaultKind.DRIFT:
            state.drift_per_h = fault.amount
        elif fault.kind is FaultKind.STUCK:
            state.stuck = True
        else:
            self.inner.report_error(-240, "Hardware error")

    def _take(self, emission: Emission) -> None:
        self.sent += 1
        emissions = [emission]
        for armed in self._sending:
            if not armed.strikes(emission.data, self._last_told):
                continue
            self.struck.append(armed.fault)
            if armed.fault.kind in SENDING_FAULTS:
                emissions = SPOILERS[armed.fault.kind](emission, armed.fault)
                self._unplugged |= armed.fault.for_good and emissions[-1].hang_up
            else:
                self._impair(armed.fault)
        if self._silent:
            return
        for item in emissions:
            self._append(item)

    def _append(self, emission: Emission) -> None:
        # A line keeps its order: nothing overtakes a message that is late.
        if self._pending and emission.time_s < self._pending[-1].time_s:
            emission = Emission(self._pending[-1].time_s, emission.data, emission.hang_up)
        self._pending.append(emission)


def _late(emission: Emission, fault: Fault) -> list[Emission]:
    return [Emission(emission.time_s + fault.seconds, emission.data)]


def _split(emission: Emission, fault: Fault) -> list[Emission]:
    half = len(emission.data) // 2
    return [
        Emission(emission.time_s, emission.data[:half]),
        Emission(emission.time_s + fault.seconds, emission.data[half:]),
    ]


def _cut(emission: Emission, fault: Fault) -> list[Emission]:
    return [Emission(emission.time_s, emission.data[: len(emission.data) // 2])]


def _lost(emission: Emission, fault: Fault) -> list[Emission]:
    return [Emission(emission.time_s, b"")]


def _doubled(emission: Emission, fault: Fault) -> list[Emission]:
    return [emission, Emission(emission.time_s + fault.seconds, emission.data)]


def _with_middle(emission: Emission, byte: bytes) -> list[Emission]:
    middle = max(0, len(emission.data) // 2 - 1)
    return [Emission(emission.time_s, emission.data[:middle] + byte + emission.data[middle + 1 :])]


def _garbled(emission: Emission, fault: Fault) -> list[Emission]:
    return _with_middle(emission, b"~")


def _non_ascii(emission: Emission, fault: Fault) -> list[Emission]:
    return _with_middle(emission, b"\xb5")


def _replaced(emission: Emission, fault: Fault) -> list[Emission]:
    return [Emission(emission.time_s, fault.data)]


def _babble(emission: Emission, fault: Fault) -> list[Emission]:
    return [Emission(emission.time_s, b"+1.23456E-05," * (int(fault.amount or 100_000) // 13 + 1))]


def _drip(emission: Emission, fault: Fault) -> list[Emission]:
    return [
        Emission(emission.time_s + index * fault.seconds, b"7") for index in range(int(fault.amount or 1000))
    ]


def _hang_up_before(emission: Emission, fault: Fault) -> list[Emission]:
    return [Emission(emission.time_s, b"", hang_up=True)]


def _hang_up_half_way(emission: Emission, fault: Fault) -> list[Emission]:
    return [Emission(emission.time_s, emission.data[: len(emission.data) // 2], hang_up=True)]


def _hang_up_after(emission: Emission, fault: Fault) -> list[Emission]:
    return [Emission(emission.time_s, emission.data, hang_up=True)]


SPOILERS: dict[FaultKind, Callable[[Emission, Fault], list[Emission]]] = {
    FaultKind.LATE: _late,
    FaultKind.SPLIT: _split,
    FaultKind.CUT: _cut,
    FaultKind.LOST_REPLY: _lost,
    FaultKind.DOUBLED: _doubled,
    FaultKind.GARBLED: _garbled,
    FaultKind.NON_ASCII: _non_ascii,
    FaultKind.REPLACED: _replaced,
    FaultKind.BABBLE: _babble,
    FaultKind.DRIP: _drip,
    FaultKind.HANG_UP_BEFORE: _hang_up_before,
    FaultKind.HANG_UP_HALF_WAY: _hang_up_half_way,
    FaultKind.HANG_UP_AFTER: _hang_up_after,
}
