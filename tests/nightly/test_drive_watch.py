"""How long the output stays on after it should be off: told from outside the station."""

from drivers.clock import ManualClock
from sim.world import World
from station.nightly.drive_watch import OFF, DriveWatch


class _Bench:
    """A world, a clock and a watch; each message takes 0.1 s."""

    def __init__(self) -> None:
        self.world, self.clock = World(), ManualClock()
        self.watch = DriveWatch(self.world, self.clock)

    def pass_time(self, seconds: float) -> None:
        self.clock.sleep(seconds)
        self.world.advance(self.clock.monotonic())

    def measure(self) -> None:
        self.watch.before_write(b"MEAS:VOLT?\n")
        self.pass_time(0.1)
        self.watch.after_read()

    def off(self) -> None:
        self.watch.before_write(b"\n" + OFF + b"\n")
        self.world.switch(on=False)
        self.watch.look()


def test_delay_counts_from_the_last_reply() -> None:
    """Two replies, then 0.7 s of nothing, then off: 0.7 s."""
    bench = _Bench()
    bench.world.switch(on=True)
    bench.measure()
    bench.measure()
    bench.pass_time(0.7)
    bench.off()

    assert (1, 0.7) == (bench.watch.offs, round(bench.watch.longest_off_s, 9))


def test_delay_counts_from_the_act_that_interferes() -> None:
    """The operator interferes before the second driven message; that message's own reply changes nothing."""
    bench = _Bench()
    acted: list[float] = []
    bench.watch.interfere(lambda: acted.append(bench.clock.monotonic()), at=2)
    bench.world.switch(on=True)
    bench.measure()
    bench.measure()
    bench.off()

    assert ([0.1], 0.1) == (acted, round(bench.watch.longest_off_s, 9))


def test_reply_to_an_off_that_was_lost_is_no_excuse() -> None:
    """From the first order to go off, later replies do not count: 0.1 s for the query, 0.2 s until the second order."""
    bench = _Bench()
    bench.world.switch(on=True)
    bench.watch.before_write(b"\n" + OFF + b"\n")
    bench.measure()
    bench.pass_time(0.2)
    bench.off()

    assert 0.3 == round(bench.watch.longest_off_s, 9)
