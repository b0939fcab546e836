"""A hot coil: marked before the drive goes on, not released until it is measured cool.

CAUTION: coils get hot enough to burn. What is below the touch limit is fit for a moment's touch, no more.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from math import isfinite
from typing import Protocol

from drivers.clock import Clock
from drivers.errors import InstrumentError
from drivers.instruments import Thermometer
from station.core.events import Event, NestCool, NestHot
from station.core.plan import HeatingStep
from station.core.reasons import reason
from station.errors import BenchError
from station.heat_memory import HeatMemory, HotMark
from station.methods.context import Context, NotMeasured, good_value

POLL_S = 0.5
PATIENCE = 2.0
"""After so many worst-case times a coil that still reads hot is no coil that cools: somebody must look."""

UNKNOWN_COOLING_S = 300.0
"""Worst-case time of a mark that says none."""


class CoolingBench(Protocol):
    """What waiting for a nest to cool needs of a bench."""

    clock: Clock

    @property
    def thermometer(self) -> Thermometer:
        """The thermometer."""
        ...


def mark_hot(
    context: Context, step: HeatingStep, *, trusted: bool, winding_ratio: float = 1.0, driven_s: float = 0.0
) -> None:
    """Put on disk that the nest is, or is about to be, hot; tell it.

    Args:
        driven_s: for how long the drive will be on yet, at most: the worst-case time to cool begins after it.

    Raises:
        NotMeasured: it can't be kept (`hot_not_kept`): then the drive stays off.
    """
    cool_by = cool_by_utc(context.bench.clock, driven_s + step.cooling_s)
    try:
        context.heat.mark_hot(HotMark(step.touch_limit_degc, cool_by, trusted, winding_ratio))
    except OSError as error:
        raise NotMeasured(reason("hot_not_kept", message=str(error))) from error
    context.tell(
        NestHot(touch_limit_degc=step.touch_limit_degc, driven=driven_s > 0.0, cool_by_utc=cool_by)
    )


def cool_by_utc(clock: Clock, seconds: float) -> datetime:
    """Return the time of day when so many seconds of process time will be over."""
    speed = float(getattr(clock, "speed", 1.0))
    # Simulated benches run ahead of the day's time; a manual clock takes the day along.
    return clock.utc_now() + timedelta(seconds=seconds / (speed if isfinite(speed) else 1.0))


def wait_until_cool(
    bench: CoolingBench, memory: HeatMemory, *, tell: Callable[[Event], object] = lambda event: None
) -> None:
    """Wait until the nest is cool enough to touch, the drive being off; at once if it never was hot.

    What it reads is told at every look, and when it is released.

    Raises:
        BenchError: it reads hot long after it should have cooled (`nest_hot`).
        Stopped: asked to stop; the nest stays marked as hot.
    """
    mark = memory.hot()
    if mark is None:
        return
    started_s = bench.clock.monotonic()
    patience_s = _patience_s(bench.clock, mark)
    while not _is_cool(bench, mark, tell):
        if bench.clock.monotonic() - started_s > patience_s:
            raise BenchError(
                "the nest still reads hot, long after a coil should have cooled. Do not touch it: see whether "
                "the source is off, then scan again.",
                code="nest_hot",
            )
        bench.clock.sleep(POLL_S)
    memory.mark_cool()
    tell(NestCool())


def require_near_ambient(context: Context, within_k: float, *, timeout_s: float) -> None:
    """Wait until coil and ambient read within `within_k` of each other: any method may ask for it.

    Raises:
        NotMeasured: they don't in `timeout_s` (`not_at_ambient`), or a sensor is open.
    """
    clock = context.bench.clock
    end_s = clock.monotonic() + timeout_s
    while True:
        near, ambient = (good_value(each) for each in context.bench.thermometer.measure())
        if abs(near - ambient) <= within_k:
            return
        if clock.monotonic() >= end_s:
            raise NotMeasured(reason("not_at_ambient", coil=f"{near:.1f}", ambient=f"{ambient:.1f}"))
        clock.sleep(POLL_S)


def _patience_s(clock: Clock, mark: HotMark) -> float:
    if mark.cool_by_utc is None:
        return PATIENCE * UNKNOWN_COOLING_S
    left_s = max(0.0, (mark.cool_by_utc - clock.utc_now()).total_seconds())
    speed = float(getattr(clock, "speed", 1.0))
    return PATIENCE * left_s * (speed if isfinite(speed) else 1.0) + 60.0


def _is_cool(bench: CoolingBench, mark: HotMark, tell: Callable[[Event], object]) -> bool:
    """Measured cool, if the thermometer is to be trusted; else when the worst-case time is over."""
    shown_degc = _winding_degc(bench, mark)
    tell(
        NestHot(
            touch_limit_degc=mark.touch_limit_degc,
            driven=False,
            cool_by_utc=mark.cool_by_utc,
            reads_degc=shown_degc if mark.trusted else None,
        )
    )
    if shown_degc is not None and (mark.trusted or shown_degc >= mark.touch_limit_degc):
        return shown_degc < mark.touch_limit_degc
    return mark.cool_by_utc is not None and bench.clock.utc_now() >= mark.cool_by_utc


def _winding_degc(bench: CoolingBench, mark: HotMark) -> float | None:
    """Return the winding's temperature by the thermometer, None if that can't tell. A missing one is not cold."""
    try:
        near, ambient = bench.thermometer.measure()
    except InstrumentError:
        return None
    if near.value is None or ambient.value is None:
        return None
    return near.value + max(0.0, mark.winding_ratio - 1.0) * max(0.0, near.value - ambient.value)
