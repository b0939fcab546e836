"""How quick the pages are, in headless Chromium, at full speed and with its processor throttled six-fold.

    python -m tests.benchmarks.bench_pages

From the scan's Enter to the first byte that an instrument receives; from the last result, and from the last byte that
an instrument receives, to the visible decision, commit included; the page of a lot of 2,650 units until it can be used;
bytes of a first load; memory of a serving process. Instruments hear with ears of their own, on the simulated wire.
Medians of one simulated lot; absolute times belong to the computer that they were measured on.
"""

import os
import subprocess
import sys
import tempfile
import time
from bisect import bisect_right
from dataclasses import replace
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser, expect

from sim.bench import OPERATOR, SimulatedBench
from sim.instrument import SimulatedInstrument
from station.app.demo import demo_serials
from station.app.files import read_plan
from station.app.simulated import Simulation
from station.app.simulated import served as served_bench
from station.app.station import Station
from station.app.workplace import Workplace
from station.core.results import Result
from station.data import data_path
from tests.benchmarks.table import Line, format_table
from tests.pages.station_in_browser import (
    DEADLINE_S,
    VIEW,
    opened_browser,
    patient,
    scan,
    served,
    settled,
    workplace_on,
)
from tests.records.makers import make_opened, make_record

UNITS = demo_serials(21)
LOT_UNITS = 2_650
SPEED = 100.0
THROTTLE = 6
SCAN_MS, DECISION_MS, SLOW_MS, LOT_S, FIRST_KB, MEMORY_MB = 50.0, 100.0, 150.0, 1.0, 200.0, 150.0

_WATCH = """() => {
  window.entered = []; window.decided = [];
  document.addEventListener("keydown", (e) => { if (e.key === "Enter") window.entered.push(Date.now()); }, true);
  let shown = "";
  new MutationObserver(() => {
    const serial = document.querySelector(".verdict .serial").textContent;
    if (document.querySelector(".verdict .place") && serial !== shown) {
      shown = serial;
      requestAnimationFrame(() => window.decided.push([serial, Date.now()]));
    }
  }).observe(document.getElementById("board"), { childList: true, subtree: true });
}"""


def lines() -> list[Line]:
    """Measure everything; a line a goal."""
    found = []
    with opened_browser() as browser:
        for throttle, most_ms in ((1, DECISION_MS), (THROTTLE, SLOW_MS)):
            with tempfile.TemporaryDirectory() as home, workplace_on(Path(home), bench=False) as workplace:
                found += _on_a_bench(browser, workplace, throttle, most_ms)
        with tempfile.TemporaryDirectory() as home:
            found += _lot(browser, Path(home))
    return [*found, _memory()]


def _on_a_bench(browser: Browser, workplace: Workplace, throttle: int, most_ms: float) -> list[Line]:
    station = workplace.station
    plan = read_plan(data_path("plans/IS-20.toml"))
    station.records.release_plan(plan, who="EN-02", why="benchmark", utc=station.clock.utc_now())
    workplace.plans_changed()
    simulation = Simulation(references=Station.shipped_references("IS-20"), speed=SPEED)
    with served_bench(simulation) as (setup, bench, _):
        heard = _Ears(bench)
        workplace.open(setup)
        found = _operator(browser, workplace, throttle, most_ms, heard)
        workplace.close()
    return found


class _Ears:
    """Notes when instruments receive bytes; the simulated operator's hands are none."""

    def __init__(self, bench: SimulatedBench) -> None:
        self.times_ms: list[float] = []
        for name, instrument in bench.instruments.items():
            if name != OPERATOR:
                self._listen(instrument)

    def _listen(self, instrument: SimulatedInstrument) -> None:
        receive = instrument.receive

        def heard(data: bytes, now_s: float) -> None:
            self.times_ms.append(time.time() * 1e3)
            receive(data, now_s)

        instrument.receive = heard  # type: ignore[method-assign]

    def first_after(self, at_ms: float) -> float:
        """Return when the first byte after a moment came."""
        return self.times_ms[bisect_right(self.times_ms, at_ms)]

    def last_before(self, at_ms: float) -> float:
        """Return when the last message before a moment came."""
        return self.times_ms[bisect_right(self.times_ms, at_ms) - 1]


def _operator(browser: Browser, workplace: Workplace, throttle: int, most_ms: float, heard: _Ears) -> list[Line]:
    last: dict[str, tuple[int, float]] = {}

    def note() -> None:
        board = workplace.shown.board
        if len(board.results) > last.get(board.serial, (0, 0.0))[0]:
            last[board.serial] = len(board.results), time.time() * 1e3

    workplace.verify("OP-07")
    settled(workplace, verified=True)
    with served(workplace) as address:
        page = patient(browser.new_context(viewport=VIEW)).new_page()
        sizes: list[int] = []
        page.on("response", lambda each: sizes.append(0 if "/events" in each.url else len(each.body())))
        page.goto(address)
        page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": throttle})
        scan(page, "OP-07")
        expect(page.locator(".who")).to_contain_text("OP-07", timeout=DEADLINE_S * 1e3)
        page.evaluate(_WATCH)
        unsubscribe = workplace.subscribe(note)
        for serial in UNITS:
            scan(page, serial)
            expect(page.locator(".verdict .serial")).to_have_text(serial, timeout=DEADLINE_S * 1e3)
            expect(page.locator(".verdict .place")).to_be_visible(timeout=DEADLINE_S * 1e3)
            settled(workplace)
        unsubscribe()
        entered: list[float] = page.evaluate("window.entered")
        decided: list[tuple[str, float]] = page.evaluate("window.decided")
        page.close()  # else it would try to come back for as long as the browser lives
    slow = f", browser {throttle} times slower" if throttle > 1 else ""
    wire = median(heard.first_after(at) - at for at in entered)
    spoken = median(at - heard.last_before(at) for _, at in decided)
    shown = median(at - last[serial][1] for serial, at in decided if serial in last)
    scan_ms = SCAN_MS if throttle == 1 else SLOW_MS
    decision_goal, scan_goal = (f"at most {each:g} ms" for each in (most_ms, scan_ms))
    found = [
        Line(f"scan to the first byte on the wire{slow}", f"{wire:.0f} ms", scan_goal, wire <= scan_ms),
        Line(f"last result to visible decision{slow}", f"{shown:.0f} ms", decision_goal, shown <= most_ms),
        Line(f"last byte on the wire to visible decision{slow}", f"{spoken:.0f} ms", decision_goal, spoken <= most_ms),
    ]
    if throttle == 1:
        kilobytes = sum(sizes) / 1e3
        what = f"at most {FIRST_KB:g} KB"
        found.append(Line("operator's page, first load", f"{kilobytes:.0f} KB", what, kilobytes <= FIRST_KB))
    return found


def _lot(browser: Browser, home: Path) -> list[Line]:
    """A lot of many units, invented, each with its own R20."""
    with Station.open(home) as station:
        plan = read_plan(data_path("plans/IS-20.toml"))
        station.records.release_plan(plan, who="EN-02", why="benchmark", utc=station.clock.utc_now())
        for i in range(LOT_UNITS):
            place, panel = i % 96, 1 + i // 96
            row, column = "ABCDEFGH"[place // 12], f"{place % 12 + 1:02d}"
            opened = make_opened(f"L2641-{panel:02d}-{row}{column}", panel=f"{panel:02d}")
            unit = replace(opened.unit, row=row, column=column)
            opened = replace(opened, plan_hash=plan.text_hash, unit=unit)
            station.records.open_run(opened)
            record = make_record(opened, r20_ohm=8.0 + 0.4 * ((i * 7919) % 1000 / 500 - 1), results=2)
            station.records.close_run(replace(record, results=tuple(map(_in_henry, record.results)), transcript=()))
        with Workplace(station, where="a benchmark") as workplace, served(workplace) as address:
            page = browser.new_page(viewport=VIEW)
            took = []
            for _ in range(5):
                page.goto(address + "lots/L2641", wait_until="load")
                took.append(
                    page.evaluate("performance.timing.domInteractive - performance.timing.navigationStart") / 1e3
                )
    seconds = median(took)
    what = f"page of a lot of {LOT_UNITS} units, until it can be used"
    return [Line(what, f"{seconds:.2f} s", f"at most {LOT_S:g} s", seconds <= LOT_S)]


def _in_henry(found: Result) -> Result:
    return replace(found, value=11.6e-6) if found.characteristic == "L" else found


def _memory() -> Line:
    with tempfile.TemporaryDirectory() as home:
        process = subprocess.Popen(
            [sys.executable, "-m", "station.cli", "--home", home, "serve", "--port", "0"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert process.stdout is not None
        process.stdout.readline()
        pages = int(Path(f"/proc/{process.pid}/statm").read_text().split()[1])
        process.terminate()
        process.wait()
    megabytes = pages * os.sysconf("SC_PAGE_SIZE") / 1e6
    goal = f"at most {MEMORY_MB:g} MB"
    return Line("memory of a serving process", f"{megabytes:.0f} MB", goal, megabytes <= MEMORY_MB)


if __name__ == "__main__":
    print(format_table(lines()))
