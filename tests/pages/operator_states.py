"""Every state of the operator's page, each made of the events that lead to it: for tests and to look at."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import reduce
from pathlib import Path

from station.app.files import read_plan
from station.app.shown import Shown
from station.app.simulated import Simulation, build, describe
from station.app.station import Station
from station.app.workplace import Workplace
from station.core.board import Board, advance
from station.core.counters import Done, count
from station.core.events import (
    BenchLatched,
    Event,
    FieldReading,
    HeatingSample,
    MethodStarted,
    NestCool,
    NestHot,
    NextAction,
    ReadingTaken,
    ResultReady,
    RunDecided,
    RunStarted,
    ScanRefused,
    ScanTaken,
    VerificationStarted,
)
from station.core.fixture_life import FixtureLife
from station.core.panel import PanelWay, decided, missing, skip
from station.core.plan_panel import panel_places
from station.core.reasons import reason
from station.core.results import Decision, Result, ResultStatus
from station.core.verification import Verification
from station.data import data_path

SERIAL = "L2641-01-A03"
NOW = datetime.now(UTC)
PLAN = read_plan(data_path("plans/IS-20.toml"))
HEATING = read_plan(data_path("plans/IS-20-heating.toml"))
SPREAD = tuple(7.8 + 0.09 * ((i * 37) % 17 - 8) / 2 for i in range(120))
GOOD = {
    "R20": ("ohm", 7.812, 0.011),
    "L": ("H", 11.603e-6, 0.01e-6),
    "B@1mm": ("T/A", 6.13e-3, 5e-5),
    "B@2mm": ("T/A", 4.26e-3, 4e-5),
    "B@4mm": ("T/A", 1.98e-3, 2e-5),
    "B@8mm": ("T/A", 0.5435e-3, 5e-6),
}
HOT = {"rise@2V": ("K", 31.2, 0.4), "Rth@air": ("K/W", 70.1, 0.5)}
CURVE = [29.4 * (1 - 0.5 ** (i / 40)) for i in range(160)]


class Posed(Workplace):
    """A workplace that shows what it is told to."""

    pose = Shown()

    @property
    def shown(self) -> Shown:
        """What is posed."""
        return self.pose


def result(name: str, given: tuple[str, float, float]) -> Event:
    """A result with its expanded uncertainty."""
    unit, value, u95 = given
    return ResultReady(result=Result(name, unit, ResultStatus.MEASURED, value, expanded_uncertainty=u95))


def ended(decision: Decision, number: int, name: str, *, code: str = "", held: bool = False, action: str = "") -> Event:
    """The decision on the unit."""
    why = reason(code, message="R20 = 9.412 ohm, limit 9.2 ohm") if code else None
    said = action or f"Put it into bin {number} ({name})."
    return RunDecided(
        serial=SERIAL, run_id="r", decision=decision, bin_number=number, bin_name=name, reason=why, held=held,
        next_action=said,
    )  # fmt: skip


def at(method: str, index: int, *events: Event) -> tuple[Event, ...]:
    """A run that has come to a method, with what it told since."""
    begun = (ScanTaken(serial=SERIAL), RunStarted(serial=SERIAL, run_id="r"))
    return (*begun, MethodStarted(method=method, index=index, total=4), *events)


def heated(upto: int = 160) -> tuple[Event, ...]:
    """A heating that has come so far."""
    until = NOW + timedelta(minutes=4)
    points = tuple(
        HeatingSample(
            time_s=0.3 * i, level=1 + i // 60, levels=3, drive=1.0 + 0.5 * (i // 60), drive_unit="V", rise_k=CURVE[i],
            wanted_k=0.5, soaked_out=False, level_left_s=90.0, left_s=110.0, foretold_rise_k=31.4 if i > 25 else None,
            foretold_uncertainty_k=0.9 if i > 25 else None,
        )
        for i in range(upto)
    )  # fmt: skip
    return (NestHot(touch_limit_degc=48.0, driven=True, cool_by_utc=until, reads_degc=51.3), *points)


COOLING = NestHot(touch_limit_degc=48.0, driven=False, cool_by_utc=NOW + timedelta(minutes=2), reads_degc=57.2)
MEASURED = tuple(result(name, given) for name, given in GOOD.items())
RL = MEASURED[:2]
FIELD = tuple(
    FieldReading(height_m=height, sign=sign, field_t_per_a=field * (1 + 0.02 * sign))
    for sign in (1, -1)
    for height, field in ((1e-3, 6.13e-3), (2e-3, 4.26e-3), (4e-3, 1.98e-3), (8e-3, 0.5435e-3))
)
READ = ReadingTaken(characteristic="R20", unit_symbol="ohm", value=7.81)
TOUCH_NOT = "Do not touch the coil. Switch the source off by hand, then call the engineer."
RESEAT = "Unload, look at the pads and the contacts, load again and scan again."
PASSED = ended(Decision.PASS, 2, "mid R")
HOLD = "Held: put it into bin 99 (hold) for the engineer."
FOREIGN = "L2640-01-A01 is of lot L2640, but this is lot L2641. Put it back to its own lot, or ask for that lot."
HEATED = at("heating", 3, RL[0], *heated(), *(result(*each) for each in HOT.items()))
STATES: dict[str, tuple[Event, ...]] = {
    "ready": (),
    "signed-out": (),
    "not-verified": (),
    "verifying": (VerificationStarted(part="IS-20"), NextAction(words="Load IS-20-REF-low-R.")),
    "loading": (ScanTaken(serial=SERIAL), NextAction(words=f"Load {SERIAL}.")),
    "contact": at("contact", 1),
    "resistance": at("resistance", 2, READ),
    "inductance": at("inductance", 3, MEASURED[0]),
    "field": at("field", 4, *RL, *FIELD),
    "spacer": at("field", 4, *RL, NextAction(words="Place the 2 mm spacer.")),
    "heating": at("heating", 3, RL[0], *heated(150)),
    "hot": at("heating", 3, RL[0], *heated(), COOLING),
    "heated-pass": (*HEATED, COOLING, NestCool(), ended(Decision.PASS, 1, "good")),
    "hot-invalid": (
        *at("heating", 3, RL[0], *heated(100), COOLING),
        ended(
            Decision.INVALID,
            99,
            "hold",
            code="sensor_open",
            action="Do not touch: the nest is hot. Wait until it is released.",
        ),
    ),
    "pass": (*at("field", 4, *MEASURED), PASSED),
    "pocket": (
        *at("field", 4, *MEASURED),
        ended(Decision.PASS, 2, "mid R", action="Put it into tray T7, pocket 12 (bin 2, mid R)."),
    ),
    "fail": (
        *at("field", 4, result("R20", ("ohm", 9.412, 0.012)), *MEASURED[1:]),
        ended(Decision.FAIL, 90, "reject", code="above_upper"),
    ),
    "invalid": (*at("contact", 1), ended(Decision.INVALID, 99, "hold", code="contact_open", action=RESEAT)),
    "held": (
        *at("contact", 1),
        ended(Decision.INVALID, 99, "hold", code="too_many_invalid", held=True, action=HOLD),
    ),
    "refused": (*at("field", 4, *MEASURED), PASSED, ScanRefused(text="L2640-01-A01", words=FOREIGN)),
    "latched": (
        *at("field", 4, *RL),
        ended(Decision.INVALID, 99, "hold", code="drive_not_off", action=TOUCH_NOT),
        BenchLatched(words=f"the drive could not be verified as off: the coil may be hot and live. {TOUCH_NOT}"),
    ),
    "panel": (),
    "panel-decided": (*at("field", 4, *MEASURED), PASSED),
    "panel-heated": at("heating", 3, RL[0], *heated(150)),
    "link-lost": (*at("field", 4, *MEASURED), PASSED),
}
"""By name; `signed-out`, `not-verified`, `spacer`, `link-lost`, `panel` differ by more than events: see `pose`."""


def pose(name: str) -> Shown:
    """Return what the page shows in a state."""
    heating = "heat" in name or name.startswith("hot")
    plan = HEATING if heating else PLAN
    simulation = Simulation(references=Station.shipped_references("IS-20"))
    bench = build(simulation)
    setup = describe(simulation, bench, dict.fromkeys(bench.instruments, "memory::x"))
    found = Verification(
        "v", setup.name, setup.nest, "F", "IS-20", NOW - timedelta(hours=1), True, NOW + timedelta(hours=9), 1000,
        "OP-07", "", plan_hash=plan.text_hash,
    )  # fmt: skip
    return Shown(
        board=reduce(advance, STATES[name], Board()),
        bench=setup,
        plans=(plan,),
        revisions=((plan.text_hash, 3),),
        lot="L2641",
        lot_received=2_650,
        lot_decided=1_137,
        verification=None if name == "not-verified" else found,
        units_since=137,
        counters=count(_shift()),
        spread=SPREAD,
        fixture_identity="F",
        life=FixtureLife(5_210, 5_210, clean_due=name == "ready"),
        panel=_way() if name.startswith("panel") else None,
        panel_said="A02 is on record as missing." if name == "panel" else "",
        confirm="Place the 2 mm spacer." if name == "spacer" else "",
    )


def _way() -> PanelWay:
    _, panel, places = panel_places(PLAN, "L2641-01")
    way = PanelWay("L2641-01", "L2641", panel, places, unit_labels=False)
    acts: list[Callable[[PanelWay], PanelWay]] = [skip, missing, *[_decided(i) for i in range(20)]]
    return reduce(lambda found, act: act(found), acts, way)


def _decided(number: int) -> Callable[[PanelWay], PanelWay]:
    decision = Decision.FAIL if number in (4, 11) else Decision.PASS

    def act(way: PanelWay) -> PanelWay:
        assert way.next is not None
        return decided(way, way.next.serial, decision, held=number == 7)

    return act


def _shift() -> list[Done]:
    """A shift of an hour: two fail, one is not measured."""
    decisions = {5: Decision.FAIL, 30: Decision.FAIL, 34: Decision.INVALID}
    begun = [NOW - timedelta(seconds=90 * (40 - i)) for i in range(40)]
    return [
        Done(f"L2641-09-{i}", decisions.get(i, Decision.PASS), 2, "mid R", start, start + timedelta(seconds=31))
        for i, start in enumerate(begun)
    ]


def posed(home: Path) -> tuple[Station, Posed]:
    """Return a workplace to pose on, with its station."""
    station = Station.open(home)
    station.records.release_plan(PLAN, who="EN-02", why="tests", utc=NOW)
    return station, Posed(station, where="a test")


def with_plan(found: Shown, version: int) -> Shown:
    """Return what is shown as a newer version: browsers take it up."""
    return replace(found, version=version)
