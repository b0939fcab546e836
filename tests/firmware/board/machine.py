"""A simulated board under MicroPython's Unix port: takes the place of the firmware's `machine`.

Imitated: pins, converters, the serial line, the hardware watchdog; around them relays that can stick, with
mirror contacts, a stage with its end switch, and a multiplexer. Not imitated: bounce, noise, interrupts.

The test talks to it on standard input, a line each:

    in PIN LEVEL        an input's level
    adc PIN COUNT       a converter's count
    mux CHANNEL COUNT   a multiplexer channel's count
    stick PIN LEVEL     the relay on that pin stays as it would be at that level
    free PIN            ... and no more
    lose STEPS          the stage has slipped down by so many steps
    break WORD          the next converter reading raises: `port` OSError, `program` another error; or it hangs
                        for 3 s: `hang`
    rx HEX              bytes on the serial line (simulated time only)
    after US LINE       do LINE at that simulated time
    run US              simulated time may go on until then
    power               cut the power and switch it on again; simulated time starts anew

and it tells on standard output:

    pin US PIN LEVEL            an output has changed (not those of the stage and the multiplexer)
    tx US HEX                   bytes on the serial line (simulated time only)
    at US STEPS                 a `run` is over; the stage's true place below its end
    watchdog US MILLISECONDS    the hardware watchdog was started
    reset US                    it has bitten
"""

import os
import select
import sys
import time

import pins

TURN_US = 250
"""Simulated time that a turn of the main loop takes."""
REST_US = 5000

_SILENT = (pins.STEP, pins.DIRECTION) + pins.MULTIPLEXER  # noqa: RUF005 (not in MicroPython)
_RELAYS = (pins.RELAY_LCR, pins.RELAY_FORWARD, pins.RELAY_REVERSE, pins.RELAY_KELVIN)


class PowerCut(Exception):
    """The power is gone."""


class _Bench:
    """All that is wired to the board."""

    def __init__(self) -> None:
        self.levels = {pins.LOADED: 1, pins.GUARD: 0, pins.STOP: 0, pins.CUT: 0, pins.SOURCE_LIVE: 0, pins.SERVICE: 1}
        self.counts = {pins.ADC_FIELD: 32768}
        self.channels = {pins.CONTACT_START: 65535, pins.CONTACT_END: 65535}
        self.stuck: dict[int, int] = {}
        self.stage_steps = int(os.getenv("BOARD_STAGE_STEPS") or "0")
        self.broken = ""
        self.received = b""
        self.later: list[tuple[int, str]] = []
        self.until_us = 0
        self.poll = select.poll()
        self.poll.register(sys.stdin, select.POLLIN)
        for pair in (os.getenv("BOARD_INPUTS") or "").split():
            number, level = pair.split("=")
            self.levels[int(number)] = int(level)

    def level(self, number: int) -> int:
        """Return what is at a pin."""
        if number == pins.ALL_OPEN and number not in self.levels:
            return 1 if any(self.stuck.get(relay, self.levels.get(relay, 0)) for relay in _RELAYS) else 0
        if number == pins.HOME:
            return 0 if self.stage_steps <= 0 else 1
        return self.levels.get(number, 1)

    def drive(self, number: int, level: int) -> None:
        """Take what the firmware puts on an output."""
        if self.levels.get(number) == level:
            return
        self.levels[number] = level
        if number == pins.STEP and level:
            self.stage_steps += -1 if self.levels[pins.DIRECTION] else 1
        if number not in _SILENT:
            tell("pin", number, level)

    def count(self, number: int) -> int:
        """Return a converter's count."""
        broken, self.broken = self.broken, ""
        if broken == "hang":
            time.sleep_ms(3000)
        elif broken:
            raise OSError(5) if broken == "port" else RuntimeError(broken)
        if number == pins.ADC_MULTIPLEXER:
            channel = sum(self.levels[pin] << bit for bit, pin in enumerate(pins.MULTIPLEXER))
            return self.channels.get(channel, 65535)
        return self.counts[number]

    def obey(self, line: str) -> None:
        """Do what the test says."""
        word, _, rest = line.strip().partition(" ")
        if word == "rx":
            self.received += bytes.fromhex(rest)
        elif word == "break":
            self.broken = rest
        elif word == "after":
            at_us, _, order = rest.partition(" ")
            self.later.append((int(at_us), order))
        elif word == "run":
            self.until_us = int(rest)
        elif word == "power":
            raise PowerCut
        else:
            self._set(word, [int(part) for part in rest.split()])

    def _set(self, word: str, numbers: "list[int]") -> None:
        if word == "in":
            self.levels[numbers[0]] = numbers[1]
        elif word == "adc":
            self.counts[numbers[0]] = numbers[1]
        elif word == "mux":
            self.channels[numbers[0]] = numbers[1]
        elif word == "stick":
            self.stuck[numbers[0]] = numbers[1]
        elif word == "free":
            del self.stuck[numbers[0]]
        elif word == "lose":
            self.stage_steps += numbers[0]
        else:
            raise ValueError(word)

    def look(self, wait_ms: int) -> None:
        """Do what the test has said meanwhile."""
        while self.poll.poll(wait_ms):
            self.obey_next()
            wait_ms = 0

    def obey_next(self) -> str:
        """Wait for the test's next line and do it; the end of the input ends the board."""
        line = sys.stdin.readline()
        if not line:
            sys.exit(0)
        self.obey(line)
        return line

    def fire_due(self) -> None:
        """Do what was ordered for a simulated time that has come."""
        for order in [each for each in self.later if each[0] <= time.now_us]:
            self.later.remove(order)
            self.obey(order[1])


def power_on() -> None:
    """Start anew."""
    time.now_us = 0
    bench.__init__()


def tell(word: str, *fields: object) -> None:
    """Tell the test."""
    print(word, time.ticks_us(), *fields)


def idle() -> None:
    """Rest: jump ahead as far as the test allows, at most 5 ms; else wait for the test."""
    if not time.SIMULATED:
        UART.poll.poll(1)
        return
    if time.now_us < bench.until_us:
        time.now_us = min(time.now_us + REST_US, bench.until_us)
        return
    tell("at", bench.stage_steps)
    while not bench.obey_next().startswith("run"):
        pass


class Pin:
    """A pin."""

    IN = 0
    OUT = 1
    PULL_UP = 2

    def __init__(self, number: int, mode: int = 0, pull: int = 0, value: int = 0) -> None:
        self.number = number
        if mode == Pin.OUT:
            bench.drive(number, value)

    def value(self, *level: int) -> "int | None":
        """Set or get the level."""
        if level:
            bench.drive(self.number, level[0])
            return None
        return bench.level(self.number)


class ADC:
    """A converter."""

    def __init__(self, pin: Pin) -> None:
        self._number = pin.number

    def read_u16(self) -> int:
        """Return the count."""
        return bench.count(self._number)


class UART:
    """The serial line: a pseudo-terminal's master, or what the test orders."""

    poll = select.poll()

    def __init__(self, number: int, baudrate: int, tx: Pin, rx: Pin, rxbuf: int, txbuf: int) -> None:
        self._port = None
        if not time.SIMULATED:
            self._port = open(int(os.getenv("BOARD_FD")), "r+b")  # noqa: SIM115 (open as long as the board)
            self.poll.register(self._port, select.POLLIN)

    def any(self) -> int:
        """Return how many bytes have come."""
        while self._port is not None and self.poll.poll(0):
            bench.received += self._port.read(1)
        return len(bench.received)

    def read(self, count: int) -> bytes:
        """Return them."""
        data, bench.received = bench.received[:count], bench.received[count:]
        return data

    def write(self, data: bytes) -> None:
        """Send bytes."""
        if self._port is None:
            tell("tx", data.hex())
        else:
            self._port.write(data)


class WDT:
    """The hardware watchdog."""

    def __init__(self, timeout: int) -> None:
        tell("watchdog", timeout)
        self._timeout_ms = timeout
        self._fed_ms = time.ticks_ms()

    def feed(self) -> None:
        """Take the sign of life; here a turn of the main loop passes."""
        if time.SIMULATED:
            time.now_us += TURN_US
            bench.fire_due()
        else:
            bench.look(0)
        if time.ticks_diff(time.ticks_ms(), self._fed_ms) > self._timeout_ms:
            tell("reset")
            sys.exit(3)
        self._fed_ms = time.ticks_ms()


bench = _Bench()
