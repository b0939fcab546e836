"""Scans from standard input: one a line, none queued at a terminal, and a stop is noticed while nobody scans."""

import os
import select
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from drivers.stop import Stopped
from station.cli.scans import SCAN_LIMIT, Scans
from station.stop import NestStop

LONGEST_S = 30.0


@contextmanager
def standard_input(monkeypatch: pytest.MonkeyPatch, *, terminal: bool = False) -> Iterator[int]:
    """Give the writing end of what is standard input meanwhile: a pipe, or a terminal."""
    written, read = os.openpty() if terminal else os.pipe()[::-1]
    with os.fdopen(read, encoding="utf-8") as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        try:
            yield written
        finally:
            os.close(written)


def test_lines_of_a_pipe_are_scans_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """However the bytes come in pieces; the scanner's line end is taken off."""
    with standard_input(monkeypatch) as pipe:
        scans = Scans(NestStop())
        os.write(pipe, b"OP-07\r\nL2641-01-A01\nL26")
        first = [scans.ask("badge"), scans.ask("unit")]
        os.write(pipe, b"41-01-A02\n")
        last = scans.ask("unit")

    assert ["OP-07", "L2641-01-A01", "L2641-01-A02"] == [*first, last]


def test_end_of_the_input_ends_the_sitting(monkeypatch: pytest.MonkeyPatch) -> None:
    """A closed pipe is no scan."""
    read, written = os.pipe()
    os.close(written)
    with os.fdopen(read) as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        with pytest.raises(Stopped, match="the input has ended"):
            Scans(NestStop()).ask("badge")


def test_stop_is_noticed_while_nobody_scans(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C only sets the token: the waiting looks at it."""
    stop = NestStop()
    stop.end("stopped by signal SIGINT")
    with standard_input(monkeypatch), pytest.raises(Stopped, match="SIGINT"):
        Scans(stop).ask("badge")


def test_scan_at_a_terminal_before_it_was_asked_for_is_refused_aloud(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was scanned while the bench was busy is no answer to what is asked afterwards."""
    with standard_input(monkeypatch, terminal=True) as terminal:
        stop = NestStop()
        scans = Scans(stop)
        os.write(terminal, b"L2641-01-A09\n")
        select.select([sys.stdin], [], [], LONGEST_S)  # a terminal hands on in its own time
        stop.end("nobody scans again")
        with pytest.raises(Stopped):
            scans.ask("scan L2641-01-A01")

    assert "was NOT taken" in capsys.readouterr().err


def test_endless_line_is_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stuck key fills no memory: what is longer than any scan is one, and will be refused as none."""
    with standard_input(monkeypatch) as pipe:
        os.write(pipe, b"x" * (SCAN_LIMIT + 10))

        assert SCAN_LIMIT == len(Scans(NestStop()).ask("badge"))


def test_lines_end_with_the_input_also_without_a_line_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """A list of scans in a file is taken to its last one."""
    read, written = os.pipe()
    os.write(written, b"L2641-01-A01\n\nL2641-01-A02")
    os.close(written)
    with os.fdopen(read) as stream:
        monkeypatch.setattr(sys, "stdin", stream)

        assert ["L2641-01-A01", "", "L2641-01-A02"] == list(Scans(NestStop()).lines())


def test_stop_ends_the_wait_for_a_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody has to scan once more for a Ctrl-C to be seen."""
    stop = NestStop()
    stop.end("stopped by signal SIGINT")
    with standard_input(monkeypatch), pytest.raises(Stopped):
        list(Scans(stop).lines())


def test_scan_at_a_terminal_while_a_unit_is_measured_is_refused_aloud(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is not queued for after the unit: the hand that scanned it may hold another one by then."""
    with standard_input(monkeypatch, terminal=True) as terminal:
        stop = NestStop()
        lines = Scans(stop).lines()
        os.write(terminal, b"L2641-01-A01\n")
        first = next(lines)
        os.write(terminal, b"L2641-01-A09\n")  # meanwhile A01 is measured
        select.select([sys.stdin], [], [], LONGEST_S)
        stop.end("nobody scans again")
        with pytest.raises(Stopped):
            next(lines)

    assert "L2641-01-A01" == first
    assert "was NOT taken" in capsys.readouterr().err
