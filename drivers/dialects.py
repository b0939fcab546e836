"""Dialects: the command words and response forms of one family of instruments, read from TOML.

A dialect is data, a driver is code. `read_dialect` turns a file's text into one of the frozen classes
below; every mistake is told at once (`DialectError`). Words as in IEEE 488.2: program message, response
message, terminator, field.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from drivers.dialect_reader import DialectError, Mistakes, Table, read_toml
from drivers.instruments import Route
from drivers.readings import Quantity, ReadingStatus
from drivers.thermocouple import TYPES

ZERO = "zero"
"""Field name of a place holder: a number that must be exactly 0."""


@dataclass(frozen=True, slots=True)
class Wire:
    """Terminators, timeout and quiet in s of link time, baud rate if serial: stated, never a default."""

    terminator_out: bytes
    terminator_in: bytes
    timeout_s: float
    quiet_s: float
    baud: int | None = None


@dataclass(frozen=True, slots=True)
class LcrFunction:
    """One function of an LCR meter: the message that chooses it, and its response's numbers in order."""

    message: str
    fields: tuple[Quantity | None, ...]
    """None stands for a place holder that must be 0."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How a setting is sent (`{}` is the number) and asked back; `query` is None where there is none."""

    message: str
    query: str | None
    resolution: float
    """How far it may read back from what was sent, in its SI unit; 0 where the make keeps every digit."""


@dataclass(frozen=True, slots=True)
class LcrDialect:
    """An LCR meter: IEEE 488.2, one response message a measurement with a status word first or last."""

    name: str
    wire: Wire
    functions: tuple[LcrFunction, ...]
    frequency: Setting
    level: Setting
    averaging: Setting
    range_: Setting
    range_auto_on: str
    range_auto_off: str
    read_back_relative: float
    correct_open: str
    correct_short: str
    correction_s: float
    before_query: tuple[str, ...]
    """Sent between function and query, in the same write: the trigger, if it is a message of its own."""
    query: str
    reading_s: float
    """Time of one reading; a measurement takes this times the averaging."""
    separator: bytes
    status_first: bool
    number: re.Pattern[bytes]
    status_words: dict[bytes, ReadingStatus | None]
    """Meaning of each status word; None: there is no measurement to fetch."""

    kind = "lcr"


@dataclass(frozen=True, slots=True)
class SourceDialect:
    """A DC source: IEEE 488.2, levels, protection, output, measured voltage and current."""

    name: str
    wire: Wire
    voltage: Setting
    current: Setting
    over_voltage: Setting
    over_current: Setting
    read_back_relative: float
    output_on: str
    output_off: str
    output_query: str
    measure_voltage: str
    measure_current: str
    number: re.Pattern[bytes]
    off_current_a: float
    """A measured current of no more than this counts as off."""
    off_timeout_s: float
    off_quiet_s: float

    kind = "source"


@dataclass(frozen=True, slots=True)
class FixtureDialect:
    """The fixture's numbered and check-summed lines: its words and its times."""

    name: str
    wire: Wire
    routes: dict[Route, str]
    commands: dict[str, str]
    least_height_um: int
    retracted_um: int
    speed_um_per_s: float
    mains_cycle_s: float

    kind = "fixture"


@dataclass(frozen=True, slots=True)
class ThermometerDialect:
    """A serial thermometer, polled or streaming; lines are described by patterns with named groups."""

    name: str
    wire: Wire
    streaming: bool
    line: re.Pattern[bytes]
    """Groups `coil` and `ambient`; `count` too when streaming."""
    identity_line: re.Pattern[bytes]
    """Group `identity`."""
    open_word: bytes
    lowest_degc: float
    highest_degc: float
    measure: str
    identity: str
    checksum_mark: bytes
    """What stands before the sum of all bytes ahead of it, modulo 256; empty for no checksum."""
    count_modulus: int
    identity_every: int
    period_s: float
    """Time between two lines, when streaming."""
    late_s: float
    """How far a line may lag behind the ones before it, when streaming; older ones are passed over."""
    thermocouple: str = ""
    """Type of the thermocouple whose voltage in mV stands in group `coil`; its cold junction's temperature in
    degC stands in group `cold_junction`. Empty: the instrument converts by itself."""

    kind = "thermometer"


Dialect = LcrDialect | SourceDialect | FixtureDialect | ThermometerDialect

FIXTURE_COMMANDS = ("identity", "state", "route", "height", "retract", "field", "contact", "alive")


def load_dialect(path: Path) -> Dialect:
    """Read a dialect file. Raises `DialectError`, also when the file cannot be read."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise DialectError(f"{path}: cannot be read as a dialect file: {error}") from error
    return read_dialect(text, str(path))


def read_dialect(text: str, file_name: str) -> Dialect:
    """Turn the text of a dialect file into its dialect.

    Args:
        text: the file's content, TOML.
        file_name: for messages; its stem is the dialect's name.

    Raises:
        DialectError: one line for each mistake, with file, line, key and what would be right.
    """
    mistakes = Mistakes(text, file_name)
    top = Table(read_toml(text, file_name), mistakes)
    kind = top.choice("kind", tuple(_READERS))
    top.text("title")
    wire = _read_wire(top.table("wire"))
    dialect = _READERS[kind](Path(file_name).stem, wire, top)
    top.close()
    mistakes.raise_any()
    return dialect


def _read_wire(table: Table) -> Wire:
    wire = Wire(
        terminator_out=table.text("terminator_out").encode("ascii", "replace"),
        terminator_in=table.text("terminator_in").encode("ascii", "replace"),
        timeout_s=table.number("timeout_s"),
        quiet_s=table.number("quiet_s"),
        baud=table.integer("baud") if table.has("baud") else None,
    )
    table.close()
    return wire


def _read_lcr(name: str, wire: Wire, top: Table) -> LcrDialect:
    settings, corrections = top.table("settings"), top.table("corrections")
    measurement, response = top.table("measurement"), top.table("response")
    dialect = LcrDialect(
        name=name,
        wire=wire,
        functions=tuple(_read_function(table) for table in top.tables("function")),
        frequency=_read_setting(settings, "frequency"),
        level=_read_setting(settings, "level"),
        averaging=_read_setting(settings, "averaging"),
        range_=_read_setting(settings, "range"),
        range_auto_on=settings.text("range_auto_on"),
        range_auto_off=settings.text("range_auto_off"),
        read_back_relative=settings.number("read_back_relative"),
        correct_open=corrections.text("open"),
        correct_short=corrections.text("short"),
        correction_s=corrections.number("time_s"),
        before_query=measurement.texts("before_query"),
        query=measurement.text("query"),
        reading_s=measurement.number("reading_s"),
        separator=response.text("separator").encode("ascii", "replace"),
        status_first=response.choice("status", ("first", "last")) == "first",
        number=response.pattern("number"),
        status_words=_read_status_words(response.table("status_words")),
    )
    for table in (settings, corrections, measurement, response):
        table.close()
    return dialect


def _read_function(table: Table) -> LcrFunction:
    known = {quantity.value: quantity for quantity in Quantity}
    fields: list[Quantity | None] = []
    for word in table.texts("fields"):
        if word != ZERO and word not in known:
            table.wrong("fields", f"must name quantities ({', '.join(known)}) or '{ZERO}'; got {word!r}")
        fields.append(known.get(word))
    function = LcrFunction(table.text("message"), tuple(fields))
    table.close()
    return function


def _read_status_words(table: Table) -> dict[bytes, ReadingStatus | None]:
    meanings: dict[str, ReadingStatus | None] = {
        "good": ReadingStatus.GOOD,
        "overload": ReadingStatus.OVERLOAD,
        "not_a_number": ReadingStatus.NOT_A_NUMBER,
        "not_measured": None,
    }
    words = {
        word.encode("ascii", "replace"): meaning
        for key, meaning in meanings.items()
        for word in table.texts(key)
    }
    table.close()
    return words


def _read_setting(table: Table, key: str) -> Setting:
    message = table.text(key)
    if message and message.count("{}") != 1:
        table.wrong(key, f"must have one {{}} where the number goes; got {message!r}")
    query_key, resolution_key = f"{key}_query", f"{key}_resolution"
    return Setting(
        message,
        query=table.text(query_key) if table.has(query_key) else None,
        resolution=table.number(resolution_key) if table.has(resolution_key) else 0.0,
    )


def _read_source(name: str, wire: Wire, top: Table) -> SourceDialect:
    settings, output, measurement = top.table("settings"), top.table("output"), top.table("measurement")
    dialect = SourceDialect(
        name=name,
        wire=wire,
        voltage=_read_setting(settings, "voltage"),
        current=_read_setting(settings, "current"),
        over_voltage=_read_setting(settings, "over_voltage"),
        over_current=_read_setting(settings, "over_current"),
        read_back_relative=settings.number("read_back_relative"),
        output_on=output.text("on"),
        output_off=output.text("off"),
        output_query=output.text("query"),
        off_current_a=output.number("off_current_a"),
        off_timeout_s=output.number("off_timeout_s"),
        off_quiet_s=output.number("off_quiet_s"),
        measure_voltage=measurement.text("voltage"),
        measure_current=measurement.text("current"),
        number=measurement.pattern("number"),
    )
    for key, setting in (
        ("voltage", dialect.voltage),
        ("current", dialect.current),
        ("over_voltage", dialect.over_voltage),
        ("over_current", dialect.over_current),
    ):
        if setting.query is None:
            settings.wrong(
                f"{key}_query",
                "must be there: a drive is never switched on before its settings were read back",
            )
    for table in (settings, output, measurement):
        table.close()
    return dialect


def _read_fixture(name: str, wire: Wire, top: Table) -> FixtureDialect:
    routes, commands, stage, field = (top.table(key) for key in ("routes", "commands", "stage", "field"))
    dialect = FixtureDialect(
        name=name,
        wire=wire,
        routes={route: routes.text(route.value) for route in Route},
        commands={command: commands.text(command) for command in FIXTURE_COMMANDS},
        least_height_um=stage.integer("least_um", least=0),
        retracted_um=stage.integer("retracted_um"),
        speed_um_per_s=stage.number("speed_um_per_s"),
        mains_cycle_s=field.number("mains_cycle_s"),
    )
    for table in (routes, commands, stage, field):
        table.close()
    return dialect


def _read_thermometer(name: str, wire: Wire, top: Table) -> ThermometerDialect:
    response = top.table("response")
    streaming = top.choice("mode", ("polled", "streaming")) == "streaming"
    messages = None if streaming else top.table("messages")
    thermocouple = response.choice("thermocouple", ("", *TYPES), default="")
    groups = ("coil", "ambient", *(("count",) if streaming else ()), *(("cold_junction",) if thermocouple else ()))
    dialect = ThermometerDialect(
        name=name,
        wire=wire,
        streaming=streaming,
        line=response.pattern("line", groups=groups),
        identity_line=response.pattern("identity_line", groups=("identity",)),
        open_word=response.text("open").encode("ascii", "replace"),
        lowest_degc=response.number("lowest_degc", above=-273.15),
        highest_degc=response.number("highest_degc"),
        measure=messages.text("measure") if messages else "",
        identity=messages.text("identity") if messages else "",
        checksum_mark=response.text("checksum_mark", default="").encode("ascii", "replace"),
        count_modulus=response.integer("count_modulus", least=2) if streaming else 0,
        identity_every=response.integer("identity_every") if streaming else 0,
        period_s=response.number("period_s") if streaming else 0.0,
        late_s=response.number("late_s") if streaming else 0.0,
        thermocouple=thermocouple,
    )
    if messages:
        messages.close()
    response.close()
    return dialect


_READERS: dict[str, Callable[[str, Wire, Table], Dialect]] = {
    "lcr": _read_lcr,
    "source": _read_source,
    "fixture": _read_fixture,
    "thermometer": _read_thermometer,
}
