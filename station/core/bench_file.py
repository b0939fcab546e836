"""Makes a bench from its text, or says everything that is wrong with it; and writes a bench as text."""

import json
import math
from collections.abc import Iterator, Sequence
from datetime import date

from station.core.equipment import Accuracy, Bench, FixtureSetup, InstrumentSetup
from station.core.file_reader import Table, read_file
from station.core.quantity import Dimension, format_quantity
from station.core.results import Shape
from station.errors import BenchError

KINDS = ("lcr", "source", "fixture", "thermometer")
QUANTITIES: dict[str, Dimension] = {
    "dc_resistance_ohm": Dimension.RESISTANCE,
    "series_resistance_ohm": Dimension.RESISTANCE,
    "parallel_resistance_ohm": Dimension.RESISTANCE,
    "series_inductance_h": Dimension.INDUCTANCE,
    "parallel_inductance_h": Dimension.INDUCTANCE,
    "quality_factor": Dimension.NUMBER,
    "impedance_ohm": Dimension.RESISTANCE,
    "phase_rad": Dimension.ANGLE,
    "voltage_v": Dimension.VOLTAGE,
    "current_a": Dimension.CURRENT,
    "flux_density_t": Dimension.FLUX_DENSITY,
    "temperature_coil_degc": Dimension.TEMPERATURE,
    "temperature_ambient_degc": Dimension.TEMPERATURE,
    "contact_resistance_ohm": Dimension.RESISTANCE,
}
"""What an accuracy can be stated for: the quantities of `drivers.readings`, with the unit of their values."""

_SUFFIXES = ("_ohm", "_h", "_v", "_a", "_t", "_degc", "_rad")
_WORDS = {
    next((name.removesuffix(end) for end in _SUFFIXES if name.endswith(end)), name): name
    for name in QUANTITIES
}
"""In the file a quantity has no unit in its name: `dc_resistance`."""
_WAYS = ("auto", "visa")
_SHAPES = tuple(each.value for each in Shape)


def parse_bench(text: str, file_name: str) -> Bench:
    """Return the bench that a TOML text states. `file_name` is for the messages.

    Raises BenchError with all mistakes, in order of line; text that is no TOML has one.
    """
    root, mistakes = read_file(text, file_name)
    if not mistakes.found:
        bench = _read(root, text)
        if not mistakes.found:
            return bench
    raise BenchError(mistakes.found)


def _read(root: Table, text: str) -> Bench:
    simulated = root.flag("simulated", default=False)
    usual = Bench("", "", simulated, (), FixtureSetup())
    bench = Bench(
        name=root.text("name", limit=40),
        nest=root.text("nest", default="1", limit=20),
        simulated=simulated,
        instruments=_read_instruments(root.tables("instrument", required=True)),
        fixture=_read_fixture(root.table("fixture")),
        mains_hz=root.quantity("mains", Dimension.FREQUENCY, default=50.0, lower=40.0, upper=70.0),
        operator_address=root.text("operator_address", default=""),
        seed=root.optional_integer("seed", lower=0, upper=2**63 - 1),
        clock_speed=root.number("clock_speed", default=1.0, lower=0.01, upper=10_000.0),
        verified_for_s=root.quantity(
            "verified_for", Dimension.TIME, default=usual.verified_for_s, lower=60.0, upper=31 * 86_400.0
        ),
        verified_units=root.integer("verified_units", default=usual.verified_units, lower=1, upper=1_000_000),
        source_text=text,
    )
    for key in ("operator_address", "seed", "clock_speed"):
        if key in root and not simulated:
            root.mistake(key, "is for simulated benches only; leave it out, or state simulated = true")
    root.close()
    return bench


def _read_fixture(table: Table) -> FixtureSetup:
    usual = FixtureSetup()
    metre = Dimension.LENGTH
    fixture = FixtureSetup(
        stage=table.flag("stage", default=usual.stage),
        kelvin_check=table.flag("kelvin_check", default=usual.kelvin_check),
        dead_man=table.flag("dead_man", default=usual.dead_man),
        remote_sense=table.flag("remote_sense", default=usual.remote_sense),
        height_half_width_m=table.quantity(
            "height_half_width", metre, default=usual.height_half_width_m, lower=0.0, upper=0.01
        ),
        lateral_half_width_m=table.quantity(
            "lateral_half_width", metre, default=usual.lateral_half_width_m, lower=0.0, upper=0.01
        ),
        contact_half_width_ohm=table.quantity(
            "contact_half_width",
            Dimension.RESISTANCE,
            default=usual.contact_half_width_ohm,
            lower=0.0,
            upper=10.0,
        ),
        coil_temperature_half_width_k=table.quantity(
            "coil_temperature_half_width",
            Dimension.TEMPERATURE_DIFFERENCE,
            default=usual.coil_temperature_half_width_k,
            lower=0.0,
            upper=20.0,
        ),
        coil_thermometer=table.text("coil_thermometer", default=""),
        clean_at_cycles=table.optional_integer("clean_at", lower=1, upper=100_000_000),
        replace_at_cycles=table.optional_integer("replace_at", lower=1, upper=100_000_000),
    )
    table.close()
    return fixture


def _read_instruments(tables: Sequence[Table]) -> tuple[InstrumentSetup, ...]:
    found: list[InstrumentSetup] = []
    for table in tables:
        each = _read_instrument(table)
        for key in ("name", "kind", "address"):
            twin = next((other for other in found if getattr(other, key) == getattr(each, key) != ""), None)
            if twin is not None:
                message = f"{getattr(each, key)!r} is taken by instrument {twin.name!r}"
                table.mistake(key, f"{message}; a bench has one of each")
        found.append(each)
    return tuple(found)


def _read_instrument(table: Table) -> InstrumentSetup:
    instrument = InstrumentSetup(
        name=table.text("name", limit=40),
        kind=table.choice("kind", KINDS),
        address=table.text("address"),
        dialect=table.text("dialect", limit=60),
        via=table.choice("via", _WAYS, default="auto"),
        identity=table.text("identity", default=""),
        calibration_due=table.day("calibration_due"),
        timeout_s=table.quantity("timeout", Dimension.TIME, default=2.0, lower=0.01, upper=60.0),
        baud=table.integer("baud", default=115_200, lower=300, upper=4_000_000),
        accuracies=tuple(_read_accuracy(each) for each in table.tables("accuracy")),
    )
    table.close()
    return instrument


def _read_accuracy(table: Table) -> Accuracy:
    word = table.choice("quantity", tuple(_WORDS))
    quantity = _WORDS.get(word, "")
    dimension = QUANTITIES.get(quantity)
    if dimension is None:
        # The other keys can't be judged without knowing the unit.
        table.names()
        return Accuracy("", 0.0, 0.0)
    # A temperature's difference is in K.
    width = Dimension.TEMPERATURE_DIFFERENCE if dimension is Dimension.TEMPERATURE else dimension
    lowest = -273.15 if dimension is Dimension.TEMPERATURE else 0.0
    accuracy = Accuracy(
        quantity=quantity,
        lower=table.quantity("from", dimension, default=0.0, lower=lowest),
        upper=table.quantity("to", dimension, lower=lowest),
        reading_fraction=table.quantity("reading", Dimension.FRACTION, default=0.0, lower=0.0, upper=1.0),
        range_fraction=table.quantity("range", Dimension.FRACTION, default=0.0, lower=0.0, upper=1.0),
        full_scale=table.quantity("full_scale", dimension, default=0.0, lower=0.0),
        counts=table.number("counts", default=0.0, lower=0.0, upper=1e6),
        resolution=table.quantity("resolution", width, default=0.0, lower=0.0),
        frequency_lower_hz=table.optional_quantity("frequency_from", Dimension.FREQUENCY, lower=0.0),
        frequency_upper_hz=table.optional_quantity("frequency_to", Dimension.FREQUENCY, lower=0.0),
        temperature_per_k=table.quantity("per_kelvin", Dimension.FRACTION, default=0.0, lower=0.0, upper=0.1),
        shape=table.choice("shape", _SHAPES, default=Shape.RECTANGULAR.value),
    )
    _check_accuracy(table, accuracy)
    table.close()
    return accuracy


def _check_accuracy(table: Table, line: Accuracy) -> None:
    if line.lower > line.upper:
        table.mistake("to", "must not be below `from`")
    low, high = line.frequency_lower_hz, line.frequency_upper_hz
    if low is not None and high is not None and low > high:
        table.mistake("frequency_to", "must not be below `frequency_from`")
    if line.range_fraction > 0.0 and not line.full_scale > 0.0:
        table.mistake("range", "needs `full_scale`: a part of which range?")
    if line.counts > 0.0 and not line.resolution > 0.0:
        table.mistake("counts", "needs `resolution`: how much is one count?")
    width = line.reading_fraction + line.range_fraction * line.full_scale + line.counts * line.resolution
    if width == 0.0:
        table.mistake(
            "", "must state at least one of `reading`, `range` and `counts`: no instrument is exact"
        )


def format_bench(bench: Bench) -> str:
    """Return a bench as the text of its file: `parse_bench` gives it back, apart from `source_text`."""
    return "\n".join(_bench_lines(bench)) + "\n"


def _bench_lines(bench: Bench) -> Iterator[str]:
    yield f"name = {_text(bench.name)}"
    yield f"nest = {_text(bench.nest)}"
    yield f"simulated = {str(bench.simulated).lower()}"
    yield f"mains = {_quantity(bench.mains_hz, Dimension.FREQUENCY)}"
    yield f"verified_for = {_quantity(bench.verified_for_s, Dimension.TIME)}"
    yield f"verified_units = {bench.verified_units}"
    if bench.operator_address:
        yield f"operator_address = {_text(bench.operator_address)}"
    if bench.seed is not None:
        yield f"seed = {bench.seed}"
    if bench.simulated:
        yield f"clock_speed = {bench.clock_speed!r}"
    yield ""
    yield "[fixture]"
    yield from _fixture_lines(bench.fixture)
    for instrument in bench.instruments:
        yield ""
        yield "[[instrument]]"
        yield from _instrument_lines(instrument)


def _fixture_lines(fixture: FixtureSetup) -> Iterator[str]:
    for key in ("stage", "kelvin_check", "dead_man", "remote_sense"):
        yield f"{key} = {str(getattr(fixture, key)).lower()}"
    yield f"height_half_width = {_quantity(fixture.height_half_width_m, Dimension.LENGTH)}"
    yield f"lateral_half_width = {_quantity(fixture.lateral_half_width_m, Dimension.LENGTH)}"
    yield f"contact_half_width = {_quantity(fixture.contact_half_width_ohm, Dimension.RESISTANCE)}"
    kelvins = _quantity(fixture.coil_temperature_half_width_k, Dimension.TEMPERATURE_DIFFERENCE)
    yield f"coil_temperature_half_width = {kelvins}"
    if fixture.coil_thermometer:
        yield f"coil_thermometer = {_text(fixture.coil_thermometer)}"
    for key, cycles in (("clean_at", fixture.clean_at_cycles), ("replace_at", fixture.replace_at_cycles)):
        if cycles is not None:
            yield f"{key} = {cycles}"


def _instrument_lines(instrument: InstrumentSetup) -> Iterator[str]:
    for key in ("name", "kind", "address", "dialect", "via", "identity"):
        yield f"{key} = {_text(getattr(instrument, key))}"
    if isinstance(instrument.calibration_due, date):
        yield f"calibration_due = {instrument.calibration_due.isoformat()}"
    yield f"timeout = {_quantity(instrument.timeout_s, Dimension.TIME)}"
    yield f"baud = {instrument.baud}"
    for accuracy in instrument.accuracies:
        yield ""
        yield "[[instrument.accuracy]]"
        yield from accuracy_lines(accuracy)


def accuracy_lines(line: Accuracy) -> Iterator[str]:
    """Yield the lines of one `[[instrument.accuracy]]`, its header apart."""
    dimension = QUANTITIES[line.quantity]
    width = Dimension.TEMPERATURE_DIFFERENCE if dimension is Dimension.TEMPERATURE else dimension
    word = next(word for word, quantity in _WORDS.items() if quantity == line.quantity)
    rows: list[tuple[str, float | None, Dimension]] = [
        ("from", line.lower, dimension),
        ("to", line.upper, dimension),
        ("reading", line.reading_fraction or None, Dimension.FRACTION),
        ("range", line.range_fraction or None, Dimension.FRACTION),
        ("full_scale", line.full_scale or None, dimension),
        ("resolution", line.resolution or None, width),
        ("frequency_from", line.frequency_lower_hz, Dimension.FREQUENCY),
        ("frequency_to", line.frequency_upper_hz, Dimension.FREQUENCY),
        ("per_kelvin", line.temperature_per_k or None, Dimension.FRACTION),
    ]
    yield f"quantity = {_text(word)}"
    for key, value, of in rows:
        if value is not None and math.isfinite(value):
            yield f"{key} = {_quantity(value, of)}"
    if line.counts:
        yield f"counts = {line.counts!r}"
    yield f"shape = {_text(line.shape)}"


def _text(text: str) -> str:
    # JSON's escapes are TOML's too; DEL is the one that JSON leaves as it is.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _quantity(value: float, dimension: Dimension) -> str:
    return _text(format_quantity(value, dimension, digits=None))
