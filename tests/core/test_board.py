"""The board is the sum of its events."""

from functools import reduce

from station.core.board import Board, Phase, advance
from station.core.events import (
    BenchLatched,
    Event,
    EventRing,
    MethodStarted,
    NextAction,
    ResultReady,
    RunDecided,
    RunStarted,
    ScanEnded,
    ScanRefused,
    ScanTaken,
    VerificationEnded,
    VerificationStarted,
)
from station.core.results import Decision, Result, ResultStatus

SERIAL = "L2641-01-A01"
R20 = Result("R20", "ohm", ResultStatus.MEASURED, 7.8, expanded_uncertainty=0.01)
DECIDED = RunDecided(
    serial=SERIAL,
    run_id="r",
    decision=Decision.PASS,
    bin_number=2,
    bin_name="mid R",
    reason=None,
    held=False,
    next_action="Put it into bin 2 (mid R).",
)
RUN: tuple[Event, ...] = (
    ScanTaken(serial=SERIAL),
    NextAction(words=f"Load {SERIAL}."),
    RunStarted(serial=SERIAL, run_id="r"),
    MethodStarted(method="resistance", index=1, total=2),
    ResultReady(result=R20),
    MethodStarted(method="field", index=2, total=2),
)


def after(*events: Event, board: Board | None = None) -> Board:
    """The board after events."""
    return reduce(advance, events, board or Board())


def test_board_follows_a_run() -> None:
    """Loading, measuring with results as they come, decided with the one next action."""
    boards = [after(*RUN[:2]), after(*RUN), after(*RUN, DECIDED)]

    assert [Phase.LOADING, Phase.MEASURING, Phase.DECIDED] == [each.phase for each in boards]
    assert [True, True, False] == [each.busy for each in boards]
    assert [False, True, False] == [each.driven for each in boards]
    assert ((R20,), DECIDED, DECIDED.next_action) == (boards[2].results, boards[2].decided, boards[2].action)


def test_refused_scan_changes_nothing_but_the_notice() -> None:
    """A scan during a run is refused and the run goes on."""
    board = after(*RUN, ScanRefused(text="x", words="not taken"))

    assert "not taken" == board.notice
    assert (SERIAL, Phase.MEASURING) == (board.serial, board.phase)


def test_next_scan_takes_the_last_decision_away() -> None:
    """A decision is never shown beside the next unit's serial."""
    board = after(*RUN, DECIDED, ScanTaken(serial="L2641-01-A02"))

    assert (None, (), "L2641-01-A02") == (board.decided, board.results, board.serial)


def test_scan_that_ends_without_a_run_frees_the_board() -> None:
    """A unit that was never loaded: ready again, and told why."""
    board = after(*RUN[:2], ScanEnded(words="was not loaded"))

    assert (Phase.READY, "was not loaded", None) == (board.phase, board.notice, board.decided)


def test_reference_units_are_not_shown_as_decided() -> None:
    """During a verification no bin is told, whatever a reference unit's run gives; its end is told."""
    board = after(VerificationStarted(part="IS-20"), *RUN, DECIDED)
    ended = after(VerificationEnded(verified=True, words="agrees"), board=board)

    assert (None, True) == (board.decided, board.busy)
    assert (False, "agrees") == (ended.busy, ended.verification.words)  # type: ignore[union-attr]


def test_latch_stays_until_it_is_cleared() -> None:
    """*Drive state unknown* outlives scans and verifications."""
    latched = after(BenchLatched(words="drive state unknown"), ScanEnded(words="no"), VerificationStarted(part=""))
    cleared = after(BenchLatched(words=""), board=latched)

    assert ("drive state unknown", "") == (latched.latched, cleared.latched)


def test_number_is_the_last_events() -> None:
    """Who has seen a number has seen all events up to it."""
    ring = EventRing()
    board = after(*(ring.add(each) for each in RUN))

    assert len(RUN) == board.number


def test_same_refusal_twice_counts_twice() -> None:
    """A wrong unit scanned again is refused aloud again; a stop by the operator's own key is told, too, once."""
    refused = ScanRefused(text="x", words="of another lot")
    boards = [after(refused), after(refused, refused), after(refused, ScanTaken(serial=SERIAL), ScanEnded(words=""))]

    assert [1, 2, 1] == [each.refusals for each in boards]
    assert 2 == after(refused, ScanEnded(words="it did not reach the nest")).refusals
