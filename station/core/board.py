"""What an operator's page shows, folded from a nest's events: the same after a reload and in a second window.

Pure: `advance(board, event)` gives the next board. What goes on record is not decided here.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

from station.core.events import (
    BenchLatched,
    Event,
    FieldReading,
    HeatingSample,
    MethodStarted,
    NestCool,
    NestHot,
    NextAction,
    ReadingTaken,
    ResultReady,
    RunDecided,
    RunStarted,
    ScanEnded,
    ScanRefused,
    ScanTaken,
    VerificationEnded,
    VerificationStarted,
)
from station.core.results import Result

DRIVEN = frozenset({"field", "heating"})
"""Methods during which the source may drive the coil."""


MOST_CURVE_POINTS = 400
"""A heating curve that gets longer keeps every second of its older points: no eye sees the difference."""


class Phase(StrEnum):
    """Where the nest is."""

    READY = "ready"
    LOADING = "loading"
    MEASURING = "measuring"
    DECIDED = "decided"


@dataclass(frozen=True, slots=True)
class Board:
    """The state of one nest as people see it. `number` is the last event's."""

    number: int = 0
    phase: Phase = Phase.READY
    verifying: bool = False
    serial: str = ""
    run_id: str = ""
    action: str = ""
    """The one thing to do now; empty: scan a unit."""
    method: str = ""
    index: int = 0
    total: int = 0
    results: tuple[Result, ...] = ()
    decided: RunDecided | None = None
    notice: str = ""
    """Why the last scan was not taken; empty if it was."""
    refusals: int = 0
    """How many there have been: the same words once more are a refusal once more."""
    latched: str = ""
    verification: VerificationEnded | None = None
    readings: tuple[ReadingTaken, ...] = ()
    """The last single reading of each characteristic that has no result yet."""
    field: tuple[FieldReading, ...] = ()
    curve: tuple[HeatingSample, ...] = ()
    """The heating curve of this unit, kept after its decision."""
    usual_heating_s: float = 0.0
    """How long the last unit was heated that was not soaked out; 0: none yet."""
    hot: NestHot | None = None
    """The coil is too hot to touch, or about to be; whatever else is shown."""

    @property
    def busy(self) -> bool:
        """Tell whether a scan would be refused."""
        return self.verifying or self.phase in (Phase.LOADING, Phase.MEASURING)

    @property
    def driven(self) -> bool:
        """Tell whether the coil may be driven at this moment."""
        cooling = self.hot is not None and not self.hot.driven
        return self.phase is Phase.MEASURING and self.method in DRIVEN and not cooling


def advance(board: Board, event: Event) -> Board:
    """Return the board after `event`."""
    return replace(_fold(board, event), number=event.number or board.number)


def _fold(board: Board, event: Event) -> Board:
    match event:
        case ScanTaken():
            return replace(
                board,
                phase=Phase.LOADING,
                serial=event.serial,
                run_id="",
                action="",
                method="",
                index=0,
                total=0,
                results=(),
                readings=(),
                field=(),
                curve=(),
                decided=None,
                notice="",
            )
        case ScanRefused():
            return replace(board, notice=event.words, refusals=board.refusals + 1)
        case NextAction():
            return replace(board, action=event.words)
        case RunStarted():
            return replace(board, phase=Phase.MEASURING, run_id=event.run_id, action="Hands off: measuring.")
        case MethodStarted():
            return replace(board, method=event.method, index=event.index, total=event.total)
        case ResultReady():
            return replace(board, results=(*board.results, event.result))
        case ReadingTaken() | FieldReading() | HeatingSample() | NestHot() | NestCool():
            return _fold_reading(board, event)
        case RunDecided():
            return _decided(board, event)
        case _:
            return _fold_rare(board, event)


def _fold_reading(board: Board, event: Event) -> Board:
    match event:
        case ReadingTaken():
            others = tuple(each for each in board.readings if each.characteristic != event.characteristic)
            return replace(board, readings=(*others, event))
        case FieldReading():
            return replace(board, field=(*board.field, event))
        case HeatingSample():
            curve = board.curve if len(board.curve) < MOST_CURVE_POINTS else board.curve[::2]
            return replace(board, curve=(*curve, event))
        case NestHot():
            ended = board.hot is not None and board.hot.driven and not event.driven and board.curve
            took_s = board.curve[-1].time_s if ended and not board.curve[-1].soaked_out else board.usual_heating_s
            return replace(board, hot=event, usual_heating_s=took_s)
        case _:
            return replace(board, hot=None)


def _decided(board: Board, event: RunDecided) -> Board:
    if board.verifying:
        # A reference unit is not sorted: only what all of them say together is shown.
        return replace(board, method="", action="", phase=Phase.LOADING)
    return replace(board, phase=Phase.DECIDED, method="", action=event.next_action, decided=event)


def _fold_rare(board: Board, event: Event) -> Board:
    match event:
        case VerificationStarted():
            return replace(_empty(board), verifying=True, phase=Phase.LOADING)
        case VerificationEnded():
            return replace(_empty(board), verification=event)
        case ScanEnded():
            refusals = board.refusals + bool(event.words)
            return replace(
                _empty(board), notice=event.words, refusals=refusals, verification=board.verification
            )
        case BenchLatched():
            return replace(board, latched=event.words)
        case _:
            return board


def _empty(board: Board) -> Board:
    """What stays whatever unit comes: a latch, a hot nest, how long heating takes."""
    return Board(
        latched=board.latched, hot=board.hot, usual_heating_s=board.usual_heating_s, refusals=board.refusals
    )
