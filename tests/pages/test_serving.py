"""`coilgate serve` as its own process: from an empty home to the first unit, and its end."""

import re
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from http.cookies import SimpleCookie
from pathlib import Path
from signal import SIGTERM
from urllib.parse import urlencode

import pytest

from station.app.files import read_plan
from station.app.simulated import Simulation, served, write_bench_file
from station.app.station import Station
from station.core.results import Decision
from station.data import data_path
from station.heat_memory import HeatOnDisk
from station.records import Records
from tests.pages.station_in_browser import DEADLINE_S
from tests.station.benches import wait_until

pytestmark = pytest.mark.slow
SERIAL = "L2641-01-A01"
GONE_S = 3.0
"""A service manager that stops the station need not kill it: it is gone within so long."""


@contextmanager
def serving(home: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """Serve a home on a free port; gives process and port."""
    process = subprocess.Popen(
        [sys.executable, "-m", "station.cli", "--home", str(home), "serve", "--port", "0", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        yield process, int(re.findall(r":(\d+)/", process.stdout.readline())[0])
    finally:
        process.terminate()
        process.communicate(timeout=DEADLINE_S)


def post(port: int, path: str, fields: dict[str, str], *, cookie: str = "") -> tuple[int, str]:
    """Send a form; gives status and the session's cookie, new or as before."""
    connection = HTTPConnection("localhost", port, timeout=DEADLINE_S)
    headers = {
        "origin": f"http://localhost:{port}",
        "content-type": "application/x-www-form-urlencoded",
        "cookie": cookie,
    }
    connection.request("POST", path, urlencode(fields), headers)
    answer = connection.getresponse()
    answer.read()
    found = SimpleCookie(answer.headers.get("set-cookie", ""))
    connection.close()
    return answer.status, f"coilgate={found['coilgate'].value}" if "coilgate" in found else cookie


def wait_until_shown(port: int, words: str) -> None:
    """Follow the event stream until the board says `words`."""
    with urllib.request.urlopen(f"http://localhost:{port}/events", timeout=DEADLINE_S) as stream:
        for line in stream:
            if words in line.decode():
                return
    raise AssertionError(f"the stream ended before it said {words!r}")


def test_empty_home_leads_to_the_first_unit(tmp_path: Path) -> None:
    """The start page, one press, a badge, a scan: a unit is on record."""
    with serving(tmp_path) as (_, port):
        with urllib.request.urlopen(f"http://localhost:{port}/", timeout=DEADLINE_S) as answer:
            first = answer.read().decode()
        done, cookie = post(port, "/simulate", {"badge": "EN-02", "speed": "100"})
        post(port, "/scan", {"scan": "L2641-01-A01"}, cookie=cookie)
        wait_until_shown(port, "Bin 99")
    with Records.open(tmp_path) as records:
        runs = records.runs_of("L2641-01-A01")

    assert "To the first unit" in first
    assert 303 == done
    assert [Decision.INVALID] == [each.decision for each in runs]


def test_sigterm_with_a_run_on_ends_invalid_with_the_drive_off(tmp_path: Path) -> None:
    """The process is gone within 3 s; the run is on record as INVALID, stopped, with the drive verified off."""
    with serving(tmp_path) as (process, port):
        _, cookie = post(port, "/simulate", {"badge": "EN-02", "speed": "1"})
        post(port, "/scan", {"scan": "L2641-01-A01"}, cookie=cookie)
        wait_until_shown(port, "resistance")
        process.send_signal(SIGTERM)
        process.wait(timeout=GONE_S)
    with Records.open(tmp_path) as records:
        run = records.run(records.runs_of("L2641-01-A01")[-1].run_id)

    assert 0 == process.returncode
    assert (Decision.INVALID, True) == (run.decision, run.drive_off_verified)
    assert run.reason is not None
    assert "stopped" == run.reason.code


def test_sigterm_while_a_coil_is_heated_switches_off_and_records(tmp_path: Path) -> None:
    """With the drive on: gone within 3 s, off by the station's own order, the run INVALID, the nest known as hot."""
    simulation = Simulation(references=Station.shipped_references("IS-20"))
    with served(simulation) as (setup, bench, host):
        file = tmp_path / "bench.toml"
        write_bench_file(setup, file)
        with Station.open(tmp_path) as station:
            plan = read_plan(data_path("plans/IS-20-heating.toml"))
            station.records.release_plan(plan, who="EN-02", why="tests", utc=station.clock.utc_now())
        with serving(tmp_path, "--bench", str(file)) as (process, port):
            _, cookie = post(port, "/scan", {"scan": "OP-07"})
            post(port, "/scan", {"scan": SERIAL}, cookie=cookie)
            wait_until(lambda: host.ask(lambda: bench.world.drive.on and bench.world.rise_k > 0.5), "a heated coil")
            process.send_signal(SIGTERM)
            process.wait(timeout=GONE_S)
        driven = host.ask(lambda: bench.world.drive.on)
    with Records.open(tmp_path) as records:
        run = records.run(records.runs_of(SERIAL)[-1].run_id)
    to_source = b"".join(e.data for e in run.transcript if (e.instrument, e.direction) == ("source-1", "out"))

    assert (0, False) == (process.returncode, driven)
    assert (Decision.INVALID, True) == (run.decision, run.drive_off_verified)
    assert run.reason is not None
    assert "stopped" == run.reason.code
    assert to_source.rindex(b"OUTP 0") > to_source.rindex(b"OUTP 1")
    assert HeatOnDisk(tmp_path, setup.name, setup.nest).hot() is not None


def test_port_that_is_taken_is_told(tmp_path: Path) -> None:
    """One clear line and exit code 2."""
    with serving(tmp_path) as (_, port):
        done = subprocess.run(
            [sys.executable, "-m", "station.cli", "--home", str(tmp_path / "b"), "serve", "--port", str(port)],
            capture_output=True,
            text=True,
            timeout=DEADLINE_S,
            check=False,
        )

    assert 2 == done.returncode
    assert "Give another: --port" in done.stderr


def test_other_host_without_accounts_is_refused(tmp_path: Path) -> None:
    """Nobody could sign in: say how to make an account."""
    done = subprocess.run(
        [sys.executable, "-m", "station.cli", "--home", str(tmp_path), "serve", "--host", "0.0.0.0", "--port", "0"],
        capture_output=True,
        text=True,
        timeout=DEADLINE_S,
        check=False,
    )

    assert 2 == done.returncode
    assert "coilgate badge add" in done.stderr


def test_event_stream_is_resumed_by_its_last_number(tmp_path: Path) -> None:
    """Who has seen the last number gets a sign of life only; who has seen an older one, or none, gets the board."""

    def first_event(port: int, last_id: str) -> tuple[str, str]:
        request = urllib.request.Request(f"http://localhost:{port}/events", headers={"Last-Event-ID": last_id})
        number = ""
        with urllib.request.urlopen(request, timeout=DEADLINE_S) as stream:
            for line in stream:
                field, _, value = line.decode().strip().partition(": ")
                number = value if field == "id" else number
                if field == "event":
                    return value, number
        raise AssertionError("the stream ended")

    with serving(tmp_path) as (_, port):
        kind, number = first_event(port, "")
        resumed, _ = first_event(port, number)
        other, _ = first_event(port, "of-the-program-before")

    assert ("board", "alive", "board") == (kind, resumed, other)
