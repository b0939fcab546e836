"""A bench that is not verified passes no unit, by whatever entrance: library, command, page, judging again, night.

Each entrance opens a bench of its own on an empty home, puts one verification (or none) on record and has a good unit
measured. The sound verification is the control: with it each entrance gives PASS.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from station.app.drift import Series, limited_by_drift
from station.app.judging_again import judge_lots_again
from station.app.lot_units import lot_units
from station.app.simulated import Simulation, served, write_bench_file
from station.app.station import Station
from station.cli.main import cli
from station.core.ids import uuid7
from station.core.plan_file import parse_plan
from station.core.run_record import Purpose, RunOpened, UnitId
from station.core.verification import Verification, VerificationValue
from station.data import data_path
from station.errors import StationError
from station.inspection import Inspection
from station.methods.context import Context
from station.nightly.night import run_night
from station.pages.application import make_application
from station.quality.drift import find_drift
from station.records.views import PastValue
from station.sequencer import RunRequest, run_unit
from tests.nightly.nights import short
from tests.pages.station_in_browser import settled, workplace_on
from tests.station.verification_bench import EXACT, GOOD, OPERATOR, REFERENCES, verification_bench

pytestmark = pytest.mark.slow

PLAN_TEXT = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
PLAN = parse_plan(PLAN_TEXT, "IS-20.toml")
BENCH, NEST, LOT = "bench-1", "A", "L2641"
FIRST = "L2641-01-A01"


def sound(now_utc: datetime, identity: str) -> Verification:
    """A verification that holds for this bench, plan and hour."""
    return Verification(
        verification_id="stated",
        bench=BENCH,
        nest=NEST,
        fixture_identity=identity,
        part=PLAN.part,
        done_utc=now_utc - timedelta(minutes=1),
        verified=True,
        verified_until_utc=now_utc + timedelta(days=30),
        unit_limit=500,
        operator=OPERATOR,
        words="stated by a test",
        plan_hash=PLAN.text_hash,
    )


def drifted(now_utc: datetime, identity: str) -> Verification:
    """What the charts make of a verification whose reference unit still agrees, and drifts beyond its uncertainty."""
    shares = [*(0.02 * (-1.0) ** i for i in range(12)), *(0.1 * i for i in range(1, 10))]
    values = [
        VerificationValue("L2600-01-A01", "R20", "ohm", 7.0 + 0.02 * each, True, "", 0.012, 7.0, 0.016)
        for each in shares
    ]
    times = [now_utc - timedelta(days=len(shares) - i) for i in range(len(shares))]
    past = tuple(
        PastValue(f"v{i}", at, NEST, each) for i, (at, each) in enumerate(zip(times, values, strict=True))
    )
    days = np.array([at.timestamp() / 86_400.0 for at in times])
    drift = find_drift(np.array(shares), days, agreed=np.full(len(shares), True))
    return limited_by_drift(
        sound(now_utc, identity), [Series(BENCH, NEST, "L2600-01-A01", "R20", past, drift)]
    )


State = Callable[[datetime, str], Verification | None]
STATES: dict[str, State] = {
    "sound": sound,
    "never verified": lambda now_utc, identity: None,
    "verification failed": lambda now_utc, identity: replace(sound(now_utc, identity), verified=False),
    "expired": lambda now_utc, identity: replace(
        sound(now_utc, identity),
        done_utc=now_utc - timedelta(hours=13),
        verified_until_utc=now_utc - timedelta(hours=1),
    ),
    "used up": lambda now_utc, identity: replace(sound(now_utc, identity), unit_limit=0),
    "drifted": drifted,
    "other fixture": lambda now_utc, identity: sound(now_utc, "another fixture"),
}
CODES = {
    "sound": "",
    "never verified": "not_verified",
    "verification failed": "verification_failed",
    "expired": "verification_expired",
    "used up": "verification_used_up",
    "drifted": "verification_failed",
    "other fixture": "other_fixture",
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What is on record of the unit in the end: decision, and the reason's code."""

    decision: str
    code: str = ""


def on_record(station: Station, serial: str) -> Outcome:
    """The unit's latest decision."""
    state = station.records.unit_state(serial)
    assert state is not None
    if state.decided is not None and state.reason is None:
        return Outcome(state.decided.value)
    decision = "INVALID" if state.decided is None else state.decided.value
    return Outcome(decision, "" if state.reason is None else state.reason.code)


def put_on_record(station: Station, state: State, now_utc: datetime, identity: str) -> None:
    """Put the state's verification on record, if there is one."""
    verification = state(now_utc, identity)
    if verification is not None:
        station.records.add_verification(verification)


def by_library(home: Path, state: State) -> Outcome:
    """`Inspection.inspect`: what commands, pages and nights stand on."""
    with verification_bench(home) as bench:
        put_on_record(bench.station, state, bench.place.clock.utc_now(), bench.inspection.fixture_identity)
        bench.measure()
        return on_record(bench.station, GOOD.serial)


def by_sequencer(home: Path, state: State) -> Outcome:
    """`run_unit` by a caller who asked no gate and names whatever verification holds now."""
    with verification_bench(home) as bench:
        now_utc = bench.place.clock.utc_now()
        bench.place.hands.load(GOOD.serial)
        bench.inspection.wait(loaded=True, what="not loaded", timeout_s=60.0)
        found = state(now_utc, bench.inspection.fixture_identity)
        holds = (
            found is not None
            and found.verified
            and found == sound(now_utc, bench.inspection.fixture_identity)
        )
        request = RunRequest(
            opened_by_hand(bench.inspection, Purpose.PRODUCTION, now_utc),
            Context(bench.inspection.bench, PLAN, None, bench.place.hands.place_spacer),
            PLAN.steps[:3],
            gate=None,
            verification_id="stated" if holds else "",
        )
        record = run_unit(bench.inspection.bench, request)
    return Outcome(record.decision.value, "" if record.reason is None else record.reason.code)


def opened_by_hand(inspection: Inspection, purpose: Purpose, now_utc: datetime) -> RunOpened:
    """A run that nobody but the caller opened."""
    return RunOpened(
        run_id=uuid7(1, 1),
        unit=UnitId(GOOD.serial, LOT, "01", "A", "01"),
        part=PLAN.part,
        plan_hash=PLAN.text_hash,
        bench=inspection.bench.setup.name,
        nest=inspection.bench.setup.nest,
        operator=OPERATOR,
        purpose=purpose,
        simulated=True,
        opened_utc=now_utc,
        software_version="0",
    )


def by_judging_again(home: Path, state: State) -> Outcome:
    """Measured under the state, then judged again under a released plan with wider limits."""
    with verification_bench(home) as bench:
        records, now_utc = bench.station.records, bench.place.clock.utc_now()
        put_on_record(bench.station, state, now_utc, bench.inspection.fixture_identity)
        bench.measure()
        wide = parse_plan(
            PLAN_TEXT.replace('upper = "9.2 ohm"', 'upper = "9.6 ohm"').replace("9.2 ohm]", "9.6 ohm]"), "p"
        )
        records.release_plan(wide, who="EN-02", why="wider", utc=now_utc)
        judge_lots_again(records, wide, [LOT], who="EN-02", why="wider limits", utc=now_utc)
        return on_record(bench.station, GOOD.serial)


def by_command(home: Path, state: State) -> Outcome:
    """`coilgate unit measure`, over real ports."""
    simulation = Simulation(seed=11, units=(GOOD,), references=REFERENCES, errors=EXACT, speed=100.0)
    with served(simulation) as (setup, _, _):
        write_bench_file(setup, home / "bench-1.toml")
        with Station.open(home / "home") as station:
            station.records.release_plan(PLAN, who="EN-01", why="tests", utc=station.clock.utc_now())
            with station.inspecting(home / "bench-1.toml", where="a test") as inspection:
                put_on_record(station, state, station.clock.utc_now(), inspection.fixture_identity)
        words = (
            "unit",
            "measure",
            GOOD.serial,
            "--bench",
            str(home / "bench-1.toml"),
            "--operator",
            OPERATOR,
        )
        done = CliRunner().invoke(cli, ["--home", str(home / "home"), *words])
        with Station.open(home / "home") as station:
            outcome = on_record(station, GOOD.serial)
    assert (0 if outcome.decision == "PASS" else 2) == done.exit_code
    return outcome


def by_page(home: Path, state: State) -> Outcome:
    """A badge and a serial scanned into the operator's page."""
    with workplace_on(home) as workplace:
        identity = identity_of_simulated_bench(home / "other")
        put_on_record(workplace.station, state, workplace.station.clock.utc_now(), identity)
        client = TestClient(
            make_application(workplace, local=True, hosts=("localhost",)),
            base_url="http://localhost",
            headers={"origin": "http://localhost"},
        )
        for scan in (OPERATOR, FIRST):
            assert client.post("/scan", data={"scan": scan}).is_success
            settled(workplace)
        return on_record(workplace.station, FIRST)


def identity_of_simulated_bench(home: Path) -> str:
    """What the fixture of every simulated bench answers."""
    with verification_bench(home) as bench:
        return bench.inspection.fixture_identity


def by_night(home: Path, state: State) -> Outcome:
    """A healthy night whose verifications only ever leave the state behind."""
    seen: list[Outcome] = []

    def verify(station: Station, inspection: Inspection, operator: str) -> None:
        units = [each for lot in station.records.lots() for each in lot_units(station.records, lot)]
        if not units:
            put_on_record(station, state, inspection.bench.clock.utc_now(), inspection.fixture_identity)
        seen.extend(on_record(station, each.serial) for each in units)
        raise StationError("nothing more is verified")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Station, "verify", verify)
        run_night(short("healthy", 3), 1)
    (outcome,) = set(seen)
    return outcome


ENTRANCES = {
    "library": by_library,
    "sequencer": by_sequencer,
    "judging again": by_judging_again,
    "command": by_command,
    "page": by_page,
    "night": by_night,
}


@pytest.mark.parametrize("state", list(STATES))
@pytest.mark.parametrize("entrance", list(ENTRANCES))
def test_only_a_verified_bench_passes_a_unit(entrance: str, state: str, tmp_path: Path) -> None:
    """At every entrance, in every state: INVALID for its own reason; the sound bench passes the same unit."""
    outcome = ENTRANCES[entrance](tmp_path, STATES[state])

    if state == "sound":
        assert Outcome("PASS") == outcome
    else:
        assert "INVALID" == outcome.decision
        assert outcome.code in {
            CODES[state],
            "not_verified" if entrance == "sequencer" else "",
            "not_measured",
        }


@pytest.mark.parametrize("purpose", [each for each in Purpose if each is not Purpose.PRODUCTION])
def test_run_that_is_no_production_passes_nothing_though_nobody_asked_the_gates(
    purpose: Purpose, tmp_path: Path
) -> None:
    """Also with a verification named: a study or an engineer's run is never a PASS."""
    with verification_bench(tmp_path) as bench:
        bench.place.hands.load(GOOD.serial)
        bench.inspection.wait(loaded=True, what="not loaded", timeout_s=60.0)
        request = RunRequest(
            opened_by_hand(bench.inspection, purpose, bench.place.clock.utc_now()),
            Context(bench.inspection.bench, PLAN, None, bench.place.hands.place_spacer),
            PLAN.steps[:3],
            gate=None,
            verification_id="stated",
        )
        record = run_unit(bench.inspection.bench, request)

    assert ("INVALID", "not_production") == (
        record.decision.value,
        record.reason.code if record.reason else "",
    )
