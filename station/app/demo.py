"""The demo: one invented lot over a simulated bench, with what goes wrong in a week put into an hour."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from sim.faults import Fault, FaultKind
from station.app.files import read_plan
from station.app.matching import candidates, propose, record_sets
from station.app.papers import write_papers
from station.app.set_papers import write_set_papers
from station.app.set_wish import set_wish
from station.app.simulated import Simulation, served, write_bench_file
from station.app.sorting import Sorting
from station.app.station import Station
from station.core.events import Event
from station.core.results import Decision
from station.core.run_record import RunRecord
from station.data import data_path
from station.errors import RecordError, SerialError, StationError
from station.inspection import Inspection, Request

LOT = "L2641"
PART = "IS-20"
OPERATOR = "OP-07"
ENGINEER = "EN-02"
MARK = "demo-home.txt"
"""Marks a home that a demo made, so that the next one may begin it anew."""

TRAYS = ("1=T1", "2=T2", "3=T3")
"""A tray for each bin that takes units that pass."""

SPEED = 100.0
"""Process seconds in a second."""

FEWEST, UNITS = 60, 64
MOST_SEATINGS = 4
"""How often the demo's operator seats a unit that was not measured, as the remedies say."""

SHOWN = (("open", 11), ("shorted_turns", 23), ("high_resistance", 37), ("poor_contact", 42))
"""Defects put on purpose: (kind, which unit of the lot)."""

DOUBLE_SCAN_AT = 17
UNPLUG_METER_AFTER = 1_200
"""Messages of the meter after which its plug is pulled, once."""


@dataclass(frozen=True, slots=True)
class Refused:
    """A scan that was not taken."""

    scan: str
    words: str


@dataclass(slots=True)
class Demo:
    """Runs the demo in a home of its own. `tell` gets every event of the nest."""

    home: Path
    units: int = UNITS
    tell: Callable[[Event], object] = field(default=lambda event: None)

    def run(self) -> Iterator[RunRecord | Refused]:
        """Yield each run and each refused scan as it happens.

        Raises:
            RecordError: the home has records that are not a demo's.
            StationError: the simulated bench could not be verified.
        """
        prepare_home(self.home)
        plan_file = data_path(f"plans/{PART}.toml")
        with Station.open(self.home) as station, served(_simulation(self.units)) as (setup, _, _):
            write_bench_file(setup, self.home / f"{setup.name}.toml")
            station.records.release_plan(
                read_plan(plan_file), who=ENGINEER, why="demo", utc=station.clock.utc_now()
            )
            with station.inspecting(setup, where="coilgate demo") as inspection:
                inspection.tell = self.tell
                inspection.place = Sorting(station.records, station.clock.utc_now, trays=TRAYS).place
                self._verify(station, inspection)
                yield from self._measure(inspection, demo_serials(self.units))

    def _verify(self, station: Station, inspection: Inspection) -> None:
        verification = station.verify(inspection, OPERATOR).verification
        if not verification.verified:
            raise StationError(f"the simulated bench is not verified: {verification.words}")

    def _measure(self, inspection: Inspection, serials: list[str]) -> Iterator[RunRecord | Refused]:
        request = Request(OPERATOR, lot=LOT)
        for index, serial in enumerate(serials):
            for _ in range(MOST_SEATINGS):
                outcome = _take(inspection, serial, request)
                yield outcome
                if isinstance(outcome, Refused) or outcome.decision is not Decision.INVALID:
                    break
            if index == DOUBLE_SCAN_AT:
                yield _take(inspection, serial, request)


def write_demo_papers(station: Station, folder: Path) -> tuple[tuple[str, Path], ...]:
    """Write the lot's papers, put its matched sets on record, write what people pick them with; name each file.

    Raises StationError if the lot can't be reported or a file can't be written.
    """
    papers = write_papers(station.records, LOT, folder)
    wish = set_wish(station.records, (LOT,), size=None, tolerances=())
    units = candidates(station.records, (LOT,), wish.tolerances)
    found = propose(units, wish.size)
    if not found.sets:
        return papers
    record_sets(station.records, units, found, who=ENGINEER, why="demo", utc=station.clock.utc_now())
    return (*papers, *write_set_papers(station.records, LOT, folder))


def _take(inspection: Inspection, serial: str, request: Request) -> RunRecord | Refused:
    try:
        return inspection.inspect(serial, request)
    except SerialError as error:
        return Refused(serial, str(error))


def prepare_home(home: Path) -> None:
    """Make an empty home for the demo, taking away what an earlier demo left there.

    Raises:
        RecordError: there is something in it that no demo made.
    """
    if home.exists() and any(home.iterdir()):
        if not (home / MARK).is_file():
            raise RecordError(
                f"{home}: has other files or records in it; the demo would mix invented units with them. "
                "Give the demo a home of its own: coilgate demo --home FOLDER"
            )
        shutil.rmtree(home)
    try:
        home.mkdir(parents=True, exist_ok=True)
        (home / MARK).write_text(
            "Made by 'coilgate demo': everything here is invented and simulated.\n"
            "The next demo in this folder begins it anew.\n",
            encoding="utf-8",
        )
    except OSError as error:
        raise RecordError(
            f"{home}: can't be written: {error.strerror or error}. Give another: --home"
        ) from error


def demo_serials(units: int) -> list[str]:
    """Return the demo's serials: eight of each panel, so that panels show their differences."""
    rows = "ABCDEFGH"
    return [f"{LOT}-{1 + i // 8:02d}-{rows[i % 8]}{1 + (5 * i) % 12:02d}" for i in range(units)]


def _simulation(units: int) -> Simulation:
    serials = demo_serials(units)
    return Simulation(
        lot=LOT,
        defects=tuple((serials[place], defect) for defect, place in SHOWN if place < units),
        references=Station.shipped_references(PART),
        faults=(Fault("lcr-1", FaultKind.HANG_UP_AFTER, nth=UNPLUG_METER_AFTER),),
        speed=SPEED,
    )
