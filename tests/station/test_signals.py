"""Signals and broken pipes only ask for a stop; the way out ends in "off"."""

import io
import os
import signal
import sys
from pathlib import Path

import pytest

from drivers.stop import Stopped
from station.signals import STOP_SIGNALS, StoppingStream, stop_on_broken_output, stop_on_signals
from station.stop import NestStop
from tests.station.benches import StationProcess, port_bench, send, wait_until


@pytest.mark.parametrize("number", STOP_SIGNALS)
def test_signal_only_sets_the_stop(number: signal.Signals) -> None:
    """Each signal ends the session by the token; a second one neither raises nor kills."""
    stop = NestStop()
    before = signal.signal(number, signal.SIG_DFL)  # the tests may run under `nohup`
    try:
        with stop_on_signals(stop):
            os.kill(os.getpid(), number)
            os.kill(os.getpid(), number)
            wait_until(stop.is_set, "the stop")
    finally:
        signal.signal(number, before)

    assert (stop.ended, stop.reason) == (True, f"stopped by signal {number.name}")


def test_handlers_come_back() -> None:
    """After the bench is closed, Ctrl-C is again what it was."""
    numbers = (*STOP_SIGNALS, signal.SIGPIPE)
    before = [signal.getsignal(each) for each in numbers]
    with stop_on_signals(NestStop()):
        during = signal.getsignal(signal.SIGPIPE)

    assert during == signal.SIG_IGN
    assert before == [signal.getsignal(each) for each in numbers]


def test_hang_up_that_nohup_ignores_stays_ignored() -> None:
    """A station started with `nohup` outlives its terminal."""
    stop = NestStop()
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with stop_on_signals(stop):
            os.kill(os.getpid(), signal.SIGHUP)
    finally:
        signal.signal(signal.SIGHUP, before)

    assert not stop.is_set()


def test_clear_does_not_take_back_a_signal() -> None:
    """A run's stop is forgotten before the next run, the end of the session is not."""
    stop = NestStop()
    stop.set("by the page")
    stop.clear()
    assert not stop.is_set()
    stop.end("by Ctrl-C")
    stop.clear()

    with pytest.raises(Stopped, match="by Ctrl-C"):
        stop.check()


def test_broken_output_ends_session_and_swallows_the_rest() -> None:
    """A reader that goes away ends the session; what is still written neither raises nor blocks."""
    reader, writer = os.pipe()
    os.close(reader)
    stop = NestStop()
    with stop_on_signals(stop), os.fdopen(writer, "w") as pipe:
        stream = StoppingStream(pipe, stop)
        stream.write("lost\n")
        stream.flush()
        more = stream.write("more\n")
        stream.flush()

    assert (more, stop.ended) == (5, True)


def test_output_streams_come_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """While open, print goes through; afterwards the streams are the former ones."""
    former = io.StringIO()
    monkeypatch.setattr(sys, "stdout", former)
    with stop_on_broken_output(NestStop()):
        print("hello")

    assert sys.stdout is former
    assert former.getvalue() == "hello\n"


@pytest.mark.slow
@pytest.mark.parametrize("number", STOP_SIGNALS)
def test_signal_during_drive_switches_off_and_closes_in_order(tmp_path: Path, number: signal.Signals) -> None:
    """A station that drives and gets a signal twice switches off, closes the bench and ends by itself."""
    with port_bench() as bench, StationProcess(bench.addresses, tmp_path, act="sleep") as station:
        station.wait_until_driving()
        send(station.pid, number)
        send(station.pid, number)
        bench.switched_off_s()

        assert station.wait_for("raised").startswith("Stopped")
        assert station.wait_for("closed") == ""
        assert (station.wait_until_ended(), station.errors()) == (0, "")
        assert not bench.drive_is_on()


@pytest.mark.slow
def test_open_bench_has_handlers_of_its_own(tmp_path: Path) -> None:
    """Whoever opens a bench and thinks of no signal gets no KeyboardInterrupt either."""
    with port_bench() as bench, StationProcess(bench.addresses, tmp_path, act="bare") as station:
        station.wait_until_driving()
        send(station.pid, signal.SIGINT)

        assert station.wait_for("raised").startswith("Stopped")
        assert (station.wait_until_ended(), station.errors()) == (0, "")
        assert not bench.drive_is_on()


@pytest.mark.slow
def test_ctrl_c_while_switching_off_does_not_skip_it(tmp_path: Path) -> None:
    """Ctrl-C again and again, at whatever moment of the way out, leaves the drive off and no traceback."""
    with port_bench() as bench, StationProcess(bench.addresses, tmp_path, act="sleep") as station:
        station.wait_until_driving()

        def interrupt_until_off() -> bool:
            send(station.pid, signal.SIGINT)
            return not bench.drive_is_on()

        wait_until(interrupt_until_off, "the drive to go off")
        send(station.pid, signal.SIGINT)

        assert station.wait_for("raised").startswith("Stopped")
        station.wait_for("closed")
        assert (station.wait_until_ended(), station.errors()) == (0, "")
        assert not bench.drive_is_on()
