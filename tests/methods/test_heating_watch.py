"""The watch on each sample, and what may be released: by themselves, without a bench."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from drivers.clock import ManualClock
from drivers.readings import Quantity, Reading, ReadingStatus
from station.coil.heating import winding_rise_k
from station.core.frequency import Frequency
from station.core.plan import HeatingStep
from station.errors import BenchError
from station.heat_memory import HeatInMemory, HeatOnDisk, HotMark
from station.heating_fit.audit import AuditState
from station.methods.context import NotMeasured
from station.methods.cooling import wait_until_cool
from station.methods.heating_samples import Cold, Sample, Watch

STEP = HeatingStep("heating", Frequency(), drives=(2.0,))
COLD = Cold(8.0, 23.0, 23.0, 0.01)
FIRST = Sample(10.0, 1, 2.0, 0.25, 23.0, 23.0, 0.0)
NOW = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
"""What a manual clock starts at."""


@pytest.mark.parametrize("k", [234.5, 235.0])
def test_winding_rise_agrees_with_its_standard(k: float) -> None:
    """IEC 60034-1, 8.6.2: 80 ohm at 20 degC, 100 ohm hot: a textbook's 63.625 K with 234.5; 63.75 K with 235."""
    expected_k = {234.5: 63.625, 235.0: 63.75}[k]

    assert expected_k == pytest.approx(float(winding_rise_k(80.0, 20.0, 100.0, 20.0, winding_constant_degc=k)))


@pytest.mark.parametrize("gap_s", [0.0, -1.0, 5.0])
def test_stalled_or_jumping_clock_ends_the_heating(gap_s: float) -> None:
    """Time that stands still, goes back or leaps with the drive on."""
    watch = Watch(STEP, COLD)
    watch.look(FIRST, 2.0)
    with pytest.raises(NotMeasured) as caught:
        watch.look(replace(FIRST, time_s=10.0 + gap_s), 2.0)

    assert "clock_stalled" == caught.value.reason.code


def test_heat_that_the_resistance_does_not_show_ends_the_heating() -> None:
    """A source that repeats its readings: the thermometer climbs, the resistance stays."""
    watch = Watch(STEP, COLD)
    with pytest.raises(NotMeasured) as caught:
        watch.look(replace(FIRST, surface_degc=35.0), 2.0)

    assert "resistance_idle" == caught.value.reason.code


def test_thermometer_that_stops_following_is_trusted_no_more() -> None:
    """It followed at first, then it did not: what it shows later says nothing about the coil."""
    watch = Watch(STEP, COLD)
    watch.look(replace(FIRST, surface_degc=33.0, rise_k=10.0), 2.0)
    followed = watch.follows
    with pytest.raises(NotMeasured):
        watch.look(replace(FIRST, time_s=10.2, rise_k=10.2), 2.0)

    assert (True, False) == (followed, watch.follows)


class _Thermometer:
    """Shows what the test says, by time."""

    def __init__(self, clock: ManualClock, *, near_degc: float | None, cooling_k_per_s: float = 0.0) -> None:
        self.name = "thermometer-1"
        self._clock = clock
        self._near_degc = near_degc
        self._cooling_k_per_s = cooling_k_per_s

    def measure(self) -> tuple[Reading, Reading]:
        """Return (coil, ambient)."""
        now_s = self._clock.monotonic()
        if self._near_degc is None:
            near = Reading(Quantity.TEMPERATURE_COIL, None, ReadingStatus.SENSOR_OPEN, self.name, now_s, b"")
        else:
            shown = max(23.0, self._near_degc - self._cooling_k_per_s * now_s)
            near = Reading(Quantity.TEMPERATURE_COIL, shown, ReadingStatus.GOOD, self.name, now_s, b"")
        return near, Reading(Quantity.TEMPERATURE_AMBIENT, 23.0, ReadingStatus.GOOD, self.name, now_s, b"")


class _Nest:
    """What waiting needs of a bench."""

    def __init__(self, *, near_degc: float | None, cooling_k_per_s: float = 0.0) -> None:
        self.clock = ManualClock()
        self.thermometer = _Thermometer(self.clock, near_degc=near_degc, cooling_k_per_s=cooling_k_per_s)


def _waited_s(mark: HotMark, *, near_degc: float | None, cooling_k_per_s: float = 0.0) -> float:
    memory = HeatInMemory()
    memory.mark_hot(mark)
    nest = _Nest(near_degc=near_degc, cooling_k_per_s=cooling_k_per_s)
    wait_until_cool(nest, memory)  # type: ignore[arg-type]
    assert memory.hot() is None
    return nest.clock.monotonic()


def test_mark_of_a_trusted_thermometer_ends_when_measured_cool() -> None:
    """68 degC falling by 0.5 K/s is at 48 degC after 40 s, long before the worst-case time."""
    mark = HotMark(48.0, NOW + timedelta(seconds=300), trusted=True)

    assert 40.0 == pytest.approx(_waited_s(mark, near_degc=68.0, cooling_k_per_s=0.5), abs=1.0)


def test_mark_with_a_winding_hotter_than_its_surface_waits_for_the_winding() -> None:
    """With a ratio of 2 the winding is at 48 degC when the surface shows 35.5 degC: 65 s instead of 40."""
    mark = HotMark(48.0, NOW + timedelta(seconds=300), trusted=True, winding_ratio=2.0)

    assert 65.0 == pytest.approx(_waited_s(mark, near_degc=68.0, cooling_k_per_s=0.5), abs=1.0)


@pytest.mark.parametrize("near_degc", [None, 23.0])
def test_mark_without_a_trusted_thermometer_ends_with_the_time(near_degc: float | None) -> None:
    """Open, or cold but never seen to follow: the worst-case time is waited out."""
    mark = HotMark(48.0, NOW + timedelta(seconds=300))

    assert 300.0 == pytest.approx(_waited_s(mark, near_degc=near_degc), abs=1.0)


def test_mark_of_a_nest_that_does_not_cool_is_an_error() -> None:
    """Twice the worst-case time and a minute, then somebody must look."""
    memory = HeatInMemory()
    memory.mark_hot(HotMark(48.0, NOW + timedelta(seconds=10), trusted=True))
    with pytest.raises(BenchError, match="still reads hot"):
        wait_until_cool(_Nest(near_degc=60.0), memory)  # type: ignore[arg-type]

    assert memory.hot() is not None


def test_mark_and_audit_survive_on_disk(tmp_path: Path) -> None:
    """What another program reads is what was kept."""
    mark = HotMark(48.0, NOW, trusted=True, winding_ratio=1.3)
    state = AuditState(3, False, 7, 0, "early 30.1 K, soaked 30.0 K")
    HeatOnDisk(tmp_path, "bench-1", "A").mark_hot(mark)
    HeatOnDisk(tmp_path, "bench-1", "A").keep_audit("plan air", state)
    again = HeatOnDisk(tmp_path, "bench-1", "A")

    assert (mark, state) == (again.hot(), again.audit("plan air"))
    assert AuditState() == again.audit("another plan")


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"touch_limit_degc": "warm"}'])
def test_damaged_mark_counts_as_hot(tmp_path: Path, damage: str) -> None:
    """Half a file, an old one, somebody's edit: hot until it is measured cool, and nothing audited."""
    memory = HeatOnDisk(tmp_path, "bench-1", "A")
    memory.mark_hot(HotMark(48.0, NOW))
    memory.keep_audit("plan", AuditState(5))
    for path in (tmp_path / "heat").iterdir():
        path.write_text(damage, encoding="utf-8")
    found = memory.hot()

    assert found is not None
    assert (43.0, None) == (found.touch_limit_degc, found.cool_by_utc)
    assert AuditState() == memory.audit("plan")
