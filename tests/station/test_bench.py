"""An open bench: off before all else, the drive by one guard only, off and verified on every way out."""

import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from drivers.errors import DriveNotOff, InstrumentError, LinkError, LinkTimeout, WrongInstrument
from drivers.instruments import Route
from drivers.stop import Stopped
from sim.bench import FIXTURE, LCR, SOURCE, THERMOMETER
from sim.faults import Fault, FaultKind
from station.bench import OpenBench, clear_latch
from station.data import data_path
from station.drive import IO_LIMIT_S
from station.errors import BenchError, NestBusy
from tests.station.benches import GENTLE, MemoryBench, bench_setup, port_bench

LOST_OFF = Fault(SOURCE, FaultKind.COMMAND_LOST, matching="OUTP 0", nth=1)
"""The order to switch off after a drive is lost once; the one at opening is not."""
DEAF = Fault(SOURCE, FaultKind.COMMAND_LOST, matching="OUTP 0", nth=1, times=0)
"""From the first drive on the source takes no order to switch off."""


def messages(bench: OpenBench) -> list[tuple[str, bytes]]:
    """Return (instrument, message) of all that was sent since `begin_run`."""
    return [(each.instrument, each.data) for each in bench.transcript() if each.direction == "out"]


def soak(bench: OpenBench, seconds: float, *, first: Callable[[], None]) -> None:
    """Switch the drive on, let something happen, then soak."""
    with bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
        first()
        bench.clock.sleep(seconds)


def test_opening_switches_off_before_all_else(tmp_path: Path) -> None:
    """The first message of all is the source's off; a drive left on by whomever ends there."""
    memory = MemoryBench(tmp_path)
    memory.world.drive.on = True
    with memory.bench as bench:
        assert messages(bench)[0] == (SOURCE, b"\nOUTP 0\n")
        assert not memory.world.drive.on


def test_opening_identifies_everyone(tmp_path: Path) -> None:
    """The identities of all instruments are known once the bench is open, and the fixture's state."""
    with MemoryBench(tmp_path).bench as bench:
        assert {SOURCE, FIXTURE, LCR, THERMOMETER} == {each.name for each in bench.identities}
        assert "INVENTED,SRC-1,SRC1001,1.0" in {each.identity for each in bench.identities}
        assert bench.state_at_opening is not None
        assert bench.watchdog_pid is None


def test_opening_with_wrong_instrument_leaves_nothing_open(tmp_path: Path) -> None:
    """A wrong identity ends the opening, with the drive off and every line free again."""
    wrong = Fault(LCR, FaultKind.WRONG_IDENTITY, data=b"INVENTED,OTHER,1,1")
    memory = MemoryBench(tmp_path, faults=[wrong])
    setup = memory.bench.setup
    named = {LCR: "INVENTED,LCR-A"}
    instruments = tuple(replace(each, identity=named.get(each.name, "")) for each in setup.instruments)
    memory.bench.setup = replace(setup, instruments=instruments)
    for _ in range(2):
        with pytest.raises(WrongInstrument):
            memory.bench.__enter__()

    assert not memory.world.drive.on


def test_output_goes_on_by_drive_only(tmp_path: Path) -> None:
    """The source that methods hold refuses output on by itself."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench:
        bench.source.configure(GENTLE)
        with pytest.raises(BenchError, match="outside a drive"):
            bench.source.output_on()

        assert not memory.world.drive.on


def test_drive_is_off_and_verified_after_use(tmp_path: Path) -> None:
    """Within the drive the output is on, afterwards it is off, and the last question proved it."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench:
        with bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            assert memory.world.drive.on
        sent = messages(bench)
        after_off = sent[len(sent) - sent[::-1].index((SOURCE, b"\nOUTP 0\n")) :]

        assert not memory.world.drive.on
        assert {(SOURCE, b"OUTP?\n"), (SOURCE, b"MEAS:CURR?\n")} <= set(after_off)


@pytest.mark.parametrize("error", [ValueError("x"), Stopped("x"), KeyboardInterrupt(), SystemExit(1)])
def test_drive_is_off_after_any_error(tmp_path: Path, error: BaseException) -> None:
    """Whatever is raised with the drive on, the drive is off and the route open before it goes on up."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench:
        with pytest.raises(type(error)), bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            raise error

        assert not memory.world.drive.on
        assert bench.fixture.state().route is Route.OPEN


def test_stop_during_soak_switches_off(tmp_path: Path) -> None:
    """A stop ends a soak at once; the way out is not stopped again."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench:
        with pytest.raises(Stopped, match="by hand"):
            soak(bench, 60.0, first=lambda: memory.stop.set("by hand"))

        assert not memory.world.drive.on
        assert bench.make_safe()


def test_lost_off_is_ordered_again(tmp_path: Path) -> None:
    """An order to switch off that gets lost is noticed and repeated."""
    memory = MemoryBench(tmp_path, faults=[LOST_OFF])
    with memory.bench as bench:
        with bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            assert memory.world.drive.on

        assert not memory.world.drive.on
        assert bench.latched == ""


def test_off_that_cannot_be_verified_latches_over_restart(tmp_path: Path) -> None:
    """A drive whose off can't be verified: no other one, also after a restart, until a person clears it."""
    memory = MemoryBench(tmp_path, faults=[DEAF])
    with memory.bench as bench:
        with pytest.raises(DriveNotOff), bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            pass
        assert bench.latched.startswith("drive state unknown: ")
        assert bench.fixture.state().route is Route.OPEN
        assert not bench.make_safe()
        with pytest.raises(BenchError, match="drive state unknown"), bench.drive(GENTLE):
            pass
        with pytest.raises(BenchError, match="drive state unknown"):
            bench.fixture.set_route(Route.LCR)

    again = MemoryBench(tmp_path)
    with again.bench as bench:
        assert bench.latched.startswith("drive state unknown: ")
        with pytest.raises(BenchError, match="drive state unknown"), bench.drive(GENTLE):
            pass
        assert not bench.make_safe()
        bench.clear_latch(who="EN-01", why="source looked at, output off, fuse changed")
        with bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            assert again.world.drive.on
        assert bench.make_safe()
    cleared = again.bench.drive_state.history()[-1]
    assert ("cleared", "EN-01") == (cleared["what"], cleared["who"])


def test_latch_that_cannot_be_kept_holds_in_this_session(tmp_path: Path) -> None:
    """On a full disk the latch still forbids the drive, and says that a restart would forget it."""
    memory = MemoryBench(tmp_path, faults=[DEAF])
    with memory.bench as bench:
        (tmp_path / "drive").touch()  # a file where the folder would be
        with pytest.raises(DriveNotOff), bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            pass
        with pytest.raises(BenchError, match="could not be kept"), bench.drive(GENTLE):
            pass


def test_latch_is_not_cleared_while_off_cannot_be_verified(tmp_path: Path) -> None:
    """A person's word does not do where the source still shows an output that is on."""
    memory = MemoryBench(tmp_path, faults=[DEAF])
    with memory.bench as bench:
        with pytest.raises(DriveNotOff), bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            pass
        with pytest.raises(DriveNotOff):
            bench.clear_latch(who="EN-01", why="looks off to me")
        assert bench.latched


@pytest.mark.parametrize(("who", "why"), [("", "looked at it"), ("EN-01", "  ")])
def test_latch_is_cleared_with_name_and_reason_only(tmp_path: Path, who: str, why: str) -> None:
    """Nobody clears a latch anonymously or without a reason."""
    with MemoryBench(tmp_path).bench as bench, pytest.raises(BenchError, match="give both"):
        bench.clear_latch(who=who, why=why)


def test_damaged_latch_counts_as_a_latch(tmp_path: Path) -> None:
    """A latch file that can't be read is no permission; clearing works on a closed bench too."""
    first = MemoryBench(tmp_path)
    first.bench.drive_state.latch("drive state unknown: test")
    (file,) = (tmp_path / "drive").glob("*.latched.json")
    file.write_text("{")
    with MemoryBench(tmp_path).bench as bench:
        assert "damaged" in bench.latched
    clear_latch(tmp_path, "bench-1", who="EN-01", why="looked at the source")
    with MemoryBench(tmp_path).bench as bench:
        assert bench.latched == ""


def test_route_does_not_change_with_the_drive_on(tmp_path: Path) -> None:
    """With the drive on every route is refused, the meter's most of all."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench, bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
        for route in Route:
            with pytest.raises(BenchError, match="with the drive on"):
                bench.fixture.set_route(route)

        assert bench.fixture.state().route is Route.SOURCE_FORWARD


def test_meter_is_connected_after_off_is_verified_anew(tmp_path: Path) -> None:
    """Between a source route and the meter's the output is switched off and verified once more."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench:
        bench.fixture.set_route(Route.SOURCE_FORWARD)
        bench.begin_run()
        bench.fixture.set_route(Route.LCR)

        assert messages(bench)[0] == (SOURCE, b"\nOUTP 0\n")
        assert bench.fixture.state().route is Route.LCR


def test_drive_needs_a_source_route(tmp_path: Path) -> None:
    """On any other route the output does not go on: a driven LCR meter is a destroyed one."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench:
        bench.fixture.set_route(Route.LCR)
        with pytest.raises(BenchError, match="not connected to the source"), bench.drive(GENTLE):
            pass

        assert not memory.world.drive.on


def test_second_drive_within_a_drive_is_refused(tmp_path: Path) -> None:
    """A drive within a drive is a mistake; the outer one is switched off."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench:
        with (
            pytest.raises(BenchError, match="on already"),
            bench.drive(GENTLE, route=Route.SOURCE_FORWARD),
            bench.drive(GENTLE),
        ):
            pass

        assert not memory.world.drive.on


def test_soak_keeps_dead_man_content(tmp_path: Path) -> None:
    """A soak far longer than the dead-man's time keeps the route."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench, bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
        bench.clock.sleep(30.0)

        assert bench.fixture.state().route is Route.SOURCE_FORWARD
        assert memory.clock.monotonic() >= 30.0


def test_hand_stop_during_soak_ends_the_drive(tmp_path: Path) -> None:
    """The fixture's hand stop is seen within a soak, and the output goes off."""
    memory = MemoryBench(tmp_path)
    with memory.bench as bench:
        with pytest.raises((BenchError, InstrumentError)):
            soak(bench, 30.0, first=lambda: setattr(memory.world, "hand_stop", True))

        assert not memory.world.drive.on
        assert memory.clock.monotonic() < 10.0


def test_silent_instrument_with_drive_on_is_given_up_within_io_limit(tmp_path: Path) -> None:
    """With the drive on no exchange waits longer than the limit, whatever the dialect would allow."""
    patient = tmp_path / "patient.toml"
    shipped = data_path("dialects/thermometer-polled.toml").read_text()
    patient.write_text(shipped.replace("timeout_s = 0.5", "timeout_s = 8.0"))
    memory = MemoryBench(tmp_path, faults=[Fault(THERMOMETER, FaultKind.LOST_REPLY, nth=1, times=0)])
    setup = memory.bench.setup
    dialects = {THERMOMETER: str(patient)}
    instruments = tuple(replace(each, dialect=dialects.get(each.name, each.dialect)) for each in setup.instruments)
    memory.bench.setup = replace(setup, instruments=instruments)
    with memory.bench as bench, bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
        began_s = memory.clock.monotonic()
        with pytest.raises(LinkTimeout):
            bench.thermometer.measure()
        took_s = memory.clock.monotonic() - began_s

    assert IO_LIMIT_S <= took_s <= IO_LIMIT_S + 0.5  # the limit, and the quiet before it


def test_unplugged_meter_is_opened_anew_before_the_next_run(tmp_path: Path) -> None:
    """What was unplugged is tried again before a run, and goes on if the same instrument is there."""
    pulled = Fault(LCR, FaultKind.HANG_UP_BEFORE, matching="*IDN?", nth=1)
    memory = MemoryBench(tmp_path, faults=[pulled])
    with memory.bench as bench:
        with pytest.raises(LinkError):
            bench.lcr.identify()
        bench.mend()

        assert bench.lcr.identify().model == "LCR-A"


def test_other_instrument_in_the_place_of_an_unplugged_one_is_refused(tmp_path: Path) -> None:
    """Another instrument than the one that was verified does not go on in its place, however often asked."""
    pulled = Fault(LCR, FaultKind.HANG_UP_BEFORE, matching="*IDN?", nth=1)
    other = Fault(LCR, FaultKind.WRONG_IDENTITY, matching="*IDN?", nth=1, data=b"INVENTED,LCR-A,OTHER,1.0")
    memory = MemoryBench(tmp_path, faults=[pulled, other])
    with memory.bench as bench:
        with pytest.raises(LinkError):
            bench.lcr.identify()
        for _ in range(2):
            with pytest.raises(WrongInstrument, match="OTHER"):
                bench.mend()


def test_latched_bench_is_not_made_ready_for_a_run(tmp_path: Path) -> None:
    """No run begins while the drive's state is unknown."""
    memory = MemoryBench(tmp_path)
    memory.bench.drive_state.latch("drive state unknown: test")
    with memory.bench as bench, pytest.raises(BenchError, match="drive state unknown: test"):
        bench.mend()


def test_closing_with_drive_left_on_by_hand_switches_off(tmp_path: Path) -> None:
    """Closing orders off whatever it knows."""
    memory = MemoryBench(tmp_path)
    with memory.bench:
        memory.world.drive.on = True

    assert not memory.world.drive.on


def test_stop_does_not_hinder_closing(tmp_path: Path) -> None:
    """A stop that was asked for is still there while the bench is closed, and changes nothing."""
    memory = MemoryBench(tmp_path)
    with memory.bench:
        memory.world.drive.on = True
        memory.stop.end("test")

    assert not memory.world.drive.on


def test_transcript_begins_with_the_run(tmp_path: Path) -> None:
    """A run's transcript holds its own messages, in order, both ways."""
    with MemoryBench(tmp_path).bench as bench:
        bench.begin_run()
        assert bench.message_count() == 0
        bench.source.measure()
        directions = [each.direction for each in bench.transcript()]

        assert directions == ["out", "in"] * 3
        assert bench.message_count() == 6


def test_second_thread_is_refused(tmp_path: Path) -> None:
    """Only the nest's thread begins a run."""
    caught: list[BaseException] = []
    with MemoryBench(tmp_path).bench as bench:

        def begin() -> None:
            try:
                bench.begin_run()
            except BenchError as error:
                caught.append(error)

        thread = threading.Thread(target=begin)
        thread.start()
        thread.join()

    assert "second thread" in str(caught[0])


def test_incomplete_bench_is_refused(tmp_path: Path) -> None:
    """A bench file without a source is told so before anything is opened."""
    setup = bench_setup()
    without = replace(setup, instruments=setup.instruments[:1])

    with pytest.raises(BenchError, match="kind 'source'"):
        OpenBench(without, home=tmp_path, where="a test")


@pytest.mark.slow
def test_bench_on_ports_is_watched_and_locked(tmp_path: Path) -> None:
    """On real ports a process watches, and a second opening is told who has the bench; then it is free."""
    with port_bench() as ports:
        setup = bench_setup(ports.addresses)
        locks = tmp_path / "locks"
        with OpenBench(setup, home=tmp_path, where="page 1", lock_folder=locks) as bench:
            assert bench.watchdog_pid is not None
            second = OpenBench(setup, home=tmp_path, where="page 2", lock_folder=locks)
            with pytest.raises(NestBusy, match="page 1"):
                second.__enter__()
        with OpenBench(setup, home=tmp_path, where="page 3", lock_folder=locks) as bench:
            assert bench.latched == ""
            assert bench.drive_state.history() == []
