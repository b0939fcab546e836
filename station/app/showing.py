"""What a workplace shows, kept in step with what happens at it, and who is told of each change."""

import threading
import time
from collections.abc import Callable
from dataclasses import replace

from station.app.shown import Shown
from station.core.board import Board, advance
from station.core.events import Event, EventRing, HeatingSample, NestHot, ScanRefused
from station.core.panel import PanelWay

CURVE_S = 0.1
"""A heating curve is shown anew no more often than this: its samples come faster on a simulated bench."""

Listener = Callable[[], None]
"""Called from any thread whenever `shown` has changed; must not block."""


class Showing:
    """Holds `Shown`, whole and of one version at any time. Its methods may be called from several threads."""

    def __init__(self, shown: Shown) -> None:
        self._shown = shown
        self._ring = EventRing()
        self._lock = threading.Lock()
        self._listeners: list[Listener] = []
        self._curve_shown_s = 0.0

    @property
    def shown(self) -> Shown:
        """Return what is to be shown now."""
        return self._shown

    def subscribe(self, listener: Listener) -> Callable[[], None]:
        """Have `listener` called on every change; returns what ends that."""
        self._listeners.append(listener)
        return lambda: self._listeners.remove(listener)

    def tell(self, event: Event) -> None:
        """Tell an event to all who look."""
        with self._lock:
            before = self._shown.board
            board = advance(before, self._ring.add(event))
            self._shown = replace(self._shown, board=board, version=self._shown.version + 1)
        if not self._too_soon(event, before, board):
            self._announce()

    def refuse(self, text: str, words: str) -> None:
        """Tell that a scan was not taken, and why."""
        self.tell(ScanRefused(text=text[:60], words=words))

    def show(self, **changes: object) -> None:
        """Show other facts, by the names of `Shown`."""
        with self._lock:
            version = self._shown.version + 1
            self._shown = replace(self._shown, version=version, **changes)  # type: ignore[arg-type]
        self._announce()

    def show_panel(self, way: PanelWay | None, *, said: str = "") -> None:
        """Show the way through a panel as it is now, and what was noted."""
        with self._lock:
            board = replace(self._shown.board, notice="")
            version = self._shown.version + 1
            self._shown = replace(self._shown, board=board, panel=way, panel_said=said, version=version)
        self._announce()

    def _too_soon(self, event: Event, before: Board, after: Board) -> bool:
        """Tell whether this is one more point of a curve, so soon after one that was shown that it can wait."""
        more = isinstance(event, HeatingSample | NestHot) and before.hot is not None
        if not more or before.driven != after.driven:
            return False
        now_s = time.monotonic()
        if now_s - self._curve_shown_s < CURVE_S:
            return True
        self._curve_shown_s = now_s
        return False

    def _announce(self) -> None:
        for each in tuple(self._listeners):
            each()
