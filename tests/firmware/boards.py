"""The reference firmware on a simulated board: MicroPython's Unix port in a process of its own.

`SimulatedBoard` is in simulated time, byte by byte as the test says; `WiredBoard` is in real time on a
pseudo-terminal, for a link and a driver as they are on a bench.
"""

import importlib.util
import json
import os
import queue
import subprocess
import sys
import threading
import tty
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

FIRMWARE = Path(__file__).parents[2] / "fixtures" / "firmware"
HEAP = "128k"
"""Heap of the firmware and of the simulated board around it. Words of 64 bits: a small board needs half."""
PATIENCE_S = 10.0

_BOARD = Path(__file__).parent / "board"
_INTERPRETER = "micropython_unix"


def micropython_is_there() -> bool:
    """Tell whether MicroPython's Unix port is installed."""
    return importlib.util.find_spec(_INTERPRETER) is not None


@dataclass(frozen=True, slots=True)
class Event:
    """What the board told: `pin`, `tx`, `at`, `watchdog`, `reset`; when, in microseconds; and its fields."""

    word: str
    time_us: int
    fields: tuple[str, ...]


class _Board:
    """The process, its orders and what it tells."""

    def __init__(
        self,
        folder: Path,
        *,
        constants: Mapping[str, object],
        environment: Mapping[str, str],
        descriptors: Sequence[int] = (),
    ) -> None:
        shipped = json.loads((FIRMWARE / "calibration.json").read_text(encoding="utf-8"))
        (folder / "calibration.json").write_text(json.dumps(shipped | dict(constants)), encoding="utf-8")
        self.events: list[Event] = []
        """All that was told, in order."""
        self.other: list[str] = []
        """Other lines on the console."""
        self._process = subprocess.Popen(
            [sys.executable, "-m", _INTERPRETER, "-X", f"heapsize={HEAP}", str(_BOARD / "run.py")],
            cwd=folder,
            env={"PATH": os.environ.get("PATH", ""), "MICROPYPATH": f"{FIRMWARE}:.frozen", **environment},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            pass_fds=descriptors,
            text=True,
            bufsize=1,
        )

    def order(self, line: str) -> None:
        """Tell the board something, as `board/machine.py` says."""
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(line + "\n")
        except BrokenPipeError as error:
            raise RuntimeError("the board has ended: " + "\n".join(self.other)) from error

    def close(self) -> None:
        """End the board. Not an error if it has ended already."""
        if self._process.stdin is not None:
            self._process.stdin.close()
        self._process.wait(PATIENCE_S)
        if self._process.stdout is not None:
            self._process.stdout.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    def pins(self, *numbers: int) -> list[tuple[int, int]]:
        """Return the changes (pin, level) of these outputs, in order."""
        changes = [(int(event.fields[0]), int(event.fields[1])) for event in self.events if event.word == "pin"]
        return [change for change in changes if change[0] in numbers]

    def level(self, number: int) -> int:
        """Return an output's last level."""
        return self.pins(number)[-1][1]

    def changes(self, number: int) -> list[int]:
        """Return when an output changed, in microseconds, in order."""
        return [event.time_us for event in self.events if event.word == "pin" and event.fields[0] == str(number)]

    def _next_line(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline()

    def _keep(self, line: str) -> Event | None:
        word, *rest = line.split()
        if word not in ("pin", "tx", "at", "watchdog", "reset"):
            self.other.append(line.rstrip("\n"))
            return None
        event = Event(word, int(rest[0]), tuple(rest[1:]))
        self.events.append(event)
        return event


class SimulatedBoard(_Board):
    """The firmware in simulated time. It stands still between `run_to` calls, except that a command that has
    been begun is brought to its end."""

    def __init__(
        self, folder: Path, *, constants: Mapping[str, object] | None = None, inputs: str = "", stage_steps: int = 0
    ) -> None:
        """Start it; returns when it rests for the first time.

        Args:
            folder: the board's file system.
            constants: calibration constants other than the shipped ones.
            inputs: levels at power-on, as in "22=0 11=1".
            stage_steps: how far below its end the stage stands at power-on.
        """
        environment = {"BOARD_INPUTS": inputs, "BOARD_STAGE_STEPS": str(stage_steps)}
        super().__init__(folder, constants=constants or {}, environment=environment)
        self.now_us = 0
        self.stage_steps = 0
        """Where the stage truly is, in steps below its end."""
        self.ended = False
        self._rest()

    def run_to(self, time_us: int) -> None:
        """Let simulated time pass until then at least."""
        self.order(f"run {time_us}")
        self._rest()

    def run(self, seconds: float) -> None:
        """Let so much simulated time pass."""
        self.run_to(self.now_us + round(seconds * 1e6))

    def send(self, data: bytes) -> None:
        """Put bytes on the line, and let the commands in them be carried out."""
        self.order(f"rx {data.hex()}")
        self.run_to(self.now_us)

    def cycle_power(self) -> None:
        """Cut the power and switch it on again: only the files stay. Time and events start anew."""
        self.order("power")
        self.events.clear()
        self.now_us = 0
        self._rest()

    def after(self, seconds: float, order: str) -> None:
        """Have an order done so much later, also in the middle of a command."""
        self.order(f"after {self.now_us + round(seconds * 1e6)} {order}")

    def sent(self) -> bytes:
        """Return all bytes that the firmware has sent."""
        return b"".join(bytes.fromhex(event.fields[0]) for event in self.events if event.word == "tx")

    def _rest(self) -> None:
        while line := self._next_line():
            event = self._keep(line)
            if event is not None and event.word == "at":
                self.now_us, self.stage_steps = event.time_us, int(event.fields[0])
                return
        self.ended = True


class WiredBoard(_Board):
    """The firmware in real time, on a pseudo-terminal that a serial link can open."""

    def __init__(self, folder: Path, *, constants: Mapping[str, object] | None = None) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.address = f"ASRL{os.ttyname(self._slave)}::INSTR"
        environment = {"BOARD_FD": str(self._master)}
        super().__init__(folder, constants=constants or {}, environment=environment, descriptors=(self._master,))
        self._told: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, name="firmware", daemon=True)
        self._reader.start()
        self.wait_for("watchdog")

    def wait_for(self, word: str, *fields: int) -> Event:
        """Wait until the board tells that, counted from the last one waited for; `queue.Empty` if it doesn't."""
        while True:
            event = self._told.get(timeout=PATIENCE_S)
            if event.word == word and event.fields[: len(fields)] == tuple(str(field) for field in fields):
                return event

    def close(self) -> None:
        """End the board and the line."""
        if self._process.stdin is not None:
            self._process.stdin.close()
        self._process.wait(PATIENCE_S)
        self._reader.join(PATIENCE_S)
        for descriptor in (self._master, self._slave):
            os.close(descriptor)
        super().close()

    def _read(self) -> None:
        while line := self._next_line():
            event = self._keep(line)
            if event is not None:
                self._told.put(event)
