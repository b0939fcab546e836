"""A station on a simulated bench, its pages served in this process, and a browser to look at them."""

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from drivers.stop import Stopped
from sim.faults import Fault
from station.app.files import read_plan
from station.app.simulated import Simulation
from station.app.station import Station
from station.app.workplace import Workplace
from station.data import data_path
from station.pages.server import bind, serve

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
DEADLINE_S = 30.0
"""Longer than anything takes, for waits on conditions."""

SCREENSHOTS = Path(__file__).parents[2] / ".screenshots"
VIEW = {"width": 1024, "height": 600}


@contextmanager
def opened_browser() -> Iterator[Browser]:
    """Give the system's Chromium; without one the test is skipped, or fails where no skip is allowed."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        words = "no Chromium on this machine: apt-get install chromium"
        if os.environ.get("COILGATE_NO_SKIPS"):
            pytest.fail(words)
        pytest.skip(words)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def workplace_on(
    home: Path,
    *,
    defects: tuple[tuple[str, str], ...] = (),
    faults: tuple[Fault, ...] = (),
    speed: float = 100.0,
    bench: bool = True,
    plan_file: str = "IS-20.toml",
) -> Iterator[Workplace]:
    """Give a workplace on a simulated bench over real ports, with an invented plan released."""
    with Station.open(home) as station, Workplace(station, where="a test") as workplace:
        if bench:
            plan = read_plan(data_path(f"plans/{plan_file}"))
            station.records.release_plan(plan, who="EN-02", why="tests", utc=station.clock.utc_now())
            workplace.plans_changed()
            workplace.simulate(
                Simulation(references=Station.shipped_references("IS-20"), defects=defects, faults=faults, speed=speed)
            )
            assert workplace.shown.trouble == ""
        yield workplace


@contextmanager
def served(workplace: Workplace, *, local: bool = True) -> Iterator[str]:
    """Serve the pages of a workplace in a thread of their own; gives their address."""
    ready = threading.Event()
    with bind("127.0.0.1", 0) as bound:
        thread = threading.Thread(
            target=serve,
            args=(workplace, bound),
            kwargs={"local": local, "bench_file": None, "ready": ready.set},
        )
        thread.start()
        try:
            assert ready.wait(DEADLINE_S)
            yield f"http://localhost:{bound.getsockname()[1]}/"
        finally:
            workplace.station.stop.end("the test is over")
            thread.join(DEADLINE_S)


def settled(workplace: Workplace, *, verified: bool = False) -> None:
    """Wait until nothing is under way, and the bench is verified if that is asked for."""

    def done() -> bool:
        shown = workplace.shown
        found = shown.verification is not None and shown.verification.verified
        return not workplace.busy and (found or not verified)

    wait_for(workplace, done)


def wait_for(workplace: Workplace, condition: Callable[[], bool]) -> None:
    """Wait until what a workplace shows fulfils a condition."""
    changed = threading.Event()
    unsubscribe = workplace.subscribe(changed.set)
    try:
        while not condition():
            changed.clear()
            if not condition() and not changed.wait(DEADLINE_S):
                raise AssertionError(f"not in time: {replace(workplace.shown.board, results=(), curve=())}")
    finally:
        unsubscribe()


@contextmanager
def held_at(workplace: Workplace, method: str) -> Iterator[None]:
    """Hold runs at the beginning of a method until the end of the block, or until a stop is asked for."""
    go_on = threading.Event()
    stop = workplace.station.stop

    def hold() -> None:
        if threading.current_thread().name != "nest" or workplace.shown.board.method != method:
            return
        with suppress(Stopped):
            while not go_on.wait(0.02):
                stop.check()  # renews the watchdog's lease, as every wait in the nest does

    unsubscribe = workplace.subscribe(hold)
    try:
        yield
    finally:
        unsubscribe()
        go_on.set()


def patient(context: BrowserContext) -> BrowserContext:
    """Take whatever is typed in this context for a scanner's: on a busy computer keys come late."""
    context.set_default_timeout(DEADLINE_S * 1e3)
    context.add_init_script(
        "addEventListener('DOMContentLoaded', () => {"
        " const field = document.getElementById('field'); if (field) field.dataset.scannerMs = 1e6; })"
    )
    return context


def scan(page: Page, text: str) -> None:
    """Scan: a scanner types fast and ends with Enter, wherever the focus is."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")
