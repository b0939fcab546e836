"""How quick the pages are, in headless Chromium, at full speed and with its processor throttled six-fold.

    python -m tests.benchmarks.bench_pages

From the scan's Enter to the nest's first event (its first message goes out next); from the last result to the visible
decision, commit included; the page of a lot of 2,650 units until it can be used; bytes of a first load; memory of a
serving process. Medians of one simulated lot; absolute times belong to the computer that they were measured on.
"""

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser, expect

from station.app.demo import demo_serials
from station.app.files import read_plan
from station.app.station import Station
from station.app.workplace import Workplace
from station.core.board import Phase
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
            with tempfile.TemporaryDirectory() as home, workplace_on(Path(home)) as workplace:
                found += _operator(browser, workplace, throttle, most_ms)
        with tempfile.TemporaryDirectory() as home:
            found += _lot(browser, Path(home))
    return [*found, _memory()]


def _operator(browser: Browser, workplace: Workplace, throttle: int, most_ms: float) -> list[Line]:
    taken: dict[str, float] = {}
    last: dict[str, tuple[int, float]] = {}

    def note() -> None:
        board = workplace.shown.board
        if board.phase is Phase.LOADING:
            taken.setdefault(board.serial, time.time() * 1e3)
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
    first = median(taken[serial] - at for serial, at in zip(UNITS, entered, strict=True))
    shown = median(at - last[serial][1] for serial, at in decided if serial in last)
    found = [
        Line(f"scan to the nest's first event{slow}", f"{first:.0f} ms", f"at most {SCAN_MS:g} ms", first <= SCAN_MS),
        Line(f"last result to visible decision{slow}", f"{shown:.0f} ms", f"at most {most_ms:g} ms", shown <= most_ms),
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
