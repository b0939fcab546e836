"""Reads scenario files; whatever is wrong with one is told at once, each mistake with its line."""

from collections.abc import Callable
from pathlib import Path

from station.core.file_reader import Table, did_you_mean, read_file
from station.core.quantity import Dimension
from station.errors import BenchError
from station.nightly.scenario import (
    ACTS,
    DEFECTS,
    FAULT_KINDS,
    INSTRUMENTS,
    MOMENTS,
    PLAN,
    SWEPT,
    SWEPT_KINDS,
    BenchSetup,
    FaultSetup,
    LotSetup,
    Scenario,
    SweepSetup,
    plan_path,
)


def read_scenario(path: Path, *, known: Callable[[str], bool] = lambda figure: True) -> Scenario:
    """Return the scenario in a file. `known` tells whether a figure's name exists.

    Raises:
        BenchError: the file can't be read, or is wrong; with all mistakes.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BenchError(f"{path}: can't be read: {error}. Give a scenario's file.") from error
    root, mistakes = read_file(text, path.name)
    if not mistakes.found:
        scenario = _read(root, path.stem, known)
        if not mistakes.found:
            return scenario
    raise BenchError(mistakes.found)


def _read(root: Table, name: str, known: Callable[[str], bool]) -> Scenario:
    operator = root.table("operator")
    scenario = Scenario(
        name=name,
        title=root.text("title", limit=60),
        lot=_read_lot(root.table("lot", required=True)),
        bench=_read_bench(root.table("bench")),
        plan=_read_plan(root),
        faults=tuple(map(_read_fault, root.tables("fault"))),
        every={act: operator.integer(act, lower=1, upper=10_000) for act in ACTS if act in operator},
        sweep=_read_sweep(root.table("sweep")) if "sweep" in root else None,
        moment=operator.choice("moment", MOMENTS, default=MOMENTS[0]),
        warm_k=operator.quantity("warm_rise", Dimension.TEMPERATURE_DIFFERENCE, default=3.0, lower=0.0, upper=60.0),
        causes=root.flag("causes", default=False),
        at_most=_read_figures(root.table("at_most"), known),
        at_least=_read_figures(root.table("at_least"), known),
        tolerance=_read_figures(root.table("tolerance"), known),
    )
    operator.close()
    root.close()
    return scenario


def _read_plan(root: Table) -> str:
    name = root.text("plan", default=PLAN, limit=40)
    try:
        plan_path(name)
    except BenchError as error:
        root.mistake("plan", f"names {error}")
    return name


def _read_sweep(table: Table) -> SweepSetup:
    instrument = table.choice("instrument", ("", *SWEPT), default="")
    kind = table.choice("kind", ("", *SWEPT_KINDS), default="")
    table.close()
    return SweepSetup((instrument,) if instrument else SWEPT, (kind,) if kind else SWEPT_KINDS)


def _read_lot(table: Table) -> LotSetup:
    defects = table.table("defects")
    lot = LotSetup(
        units=table.integer("units", lower=1, upper=2_880),
        etch_shift_m=table.quantity("etch_shift", Dimension.LENGTH, default=0.0, lower=-5e-5, upper=5e-5),
        copper_gradient=table.optional_quantity("copper_gradient", Dimension.FRACTION, lower=0.0, upper=0.5),
        on_bin_ends=table.choice("on_bin_ends", ("", "R20"), default=""),
        near_limits=table.choice("near_limits", ("", "R20", "L"), default=""),
        other_part=_share(table, "other_part"),
        metal=_share(table, "metal"),
        defects={each: _share(defects, each) for each in DEFECTS if each in defects},
    )
    for each in defects.names():
        if each not in DEFECTS:
            defects.mistake(each, f"is no defect{did_you_mean(each, DEFECTS)} (known: {', '.join(DEFECTS)})")
    table.close()
    return lot


def _share(table: Table, key: str) -> float:
    return table.quantity(key, Dimension.FRACTION, default=0.0, lower=0.0, upper=1.0)


def _read_bench(table: Table) -> BenchSetup:
    kelvin = Dimension.TEMPERATURE_DIFFERENCE
    bench = BenchSetup(
        lcr_model=table.choice("lcr", ("LCR-A", "LCR-B"), default="LCR-A"),
        thermometer_model=table.choice("thermometer", ("TH-P", "TH-S"), default="TH-P"),
        stage=table.flag("stage", default=True),
        ambient_degc=table.quantity("ambient", Dimension.TEMPERATURE, default=23.0, lower=5.0, upper=45.0),
        ambient_drift_k_per_h=table.quantity("ambient_drift_an_hour", kelvin, default=0.0, lower=-60.0, upper=60.0),
        keeps_heat=table.flag("keeps_heat", default=False),
        ambient_wander_k=table.quantity("ambient_wander", kelvin, default=0.0, lower=0.0, upper=10.0),
        field_offset_t=table.optional_quantity("field_offset", Dimension.FLUX_DENSITY),
        temperature_noise_k=table.optional_quantity("temperature_noise", kelvin, lower=0.0),
        perfect=table.flag("perfect", default=False),
        thermometer_sees=table.quantity("thermometer_sees", Dimension.FRACTION, default=1.0, lower=0.0, upper=1.0),
        mains_hz=table.quantity("mains", Dimension.FREQUENCY, default=50.0, lower=40.0, upper=70.0),
        field_hum_t=table.quantity("field_hum", Dimension.FLUX_DENSITY, default=0.0, lower=0.0, upper=1e-2),
        resistance_hum=table.quantity("resistance_hum", Dimension.FRACTION, default=0.0, lower=0.0, upper=0.1),
    )
    table.close()
    return bench


def _read_fault(table: Table) -> FaultSetup:
    fault = FaultSetup(
        instrument=table.choice("instrument", INSTRUMENTS),
        kind=table.choice("kind", FAULT_KINDS),
        first=table.integer("first", lower=0, upper=10_000_000),
        every=table.integer("every", default=1, lower=1, upper=1_000_000),
        times=table.integer("times", default=1, lower=1, upper=10_000),
        seconds=table.quantity("delay", Dimension.TIME, default=0.0, lower=0.0, upper=60.0),
        amount=table.number("amount", default=0.0, lower=-10.0, upper=1e6),
    )
    table.close()
    return fault


def _read_figures(table: Table, known: Callable[[str], bool]) -> dict[str, float]:
    names = table.names()
    for name in names:
        if not known(name):
            table.mistake(name, "is no figure of the nightly; its table shows which there are")
    return {name: table.number(name, lower=-1e9, upper=1e9) for name in names}
