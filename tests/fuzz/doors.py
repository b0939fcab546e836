"""Every parser that meets the outside: what it takes, what it may raise, and sound input to spoil."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from drivers.dialect_reader import DialectError
from drivers.dialects import LcrDialect, read_dialect
from drivers.errors import InstrumentError
from drivers.fixture_line import checksum, parse_line
from drivers.lcr import parse_measurement
from drivers.links.frame import parse_frame
from drivers.numbers import parse_integer, parse_number, parse_value
from drivers.readings import ReadingStatus
from drivers.session import parse_error_entry, parse_identity
from station.app.copper_files import CopperKind, read_rows
from station.app.files import read_plan
from station.coil.polyline import read_polyline_csv
from station.core.bench_file import parse_bench
from station.core.frequency import parse_frequency
from station.core.guard_text import parse_guard
from station.core.intervals import parse_interval
from station.core.places import read_tray
from station.core.plan_file import parse_plan
from station.core.quantity import parse_quantity
from station.core.reference_file import parse_reference_unit
from station.core.scans import recognise
from station.core.serials import read_serial
from station.core.set_label import read_set_label
from station.data import data_path
from station.errors import PlanError, SerialError, StationError, StudyError
from station.nightly.scenario_file import read_scenario
from station.quality.readings_file import HowRead, Span, read_map, read_readings
from station.quality.study_file import (
    agreement_readings,
    attribute_decisions,
    crossed_readings,
    linearity_readings,
    single_values,
    stability_readings,
)

Refusal = type[Exception] | tuple[type[Exception], ...]


@dataclass(frozen=True, slots=True)
class TextDoor:
    """A parser of text; `refuses` is all that it may raise."""

    name: str
    parse: Callable[[str], object]
    refuses: Refusal
    sound: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ByteDoor:
    """A parser of what an instrument or a port sends."""

    name: str
    parse: Callable[[bytes], object]
    refuses: Refusal
    sound: tuple[bytes, ...]


_PLAN = read_plan(data_path("plans/IS-20.toml"))
_STUDY = "part,appraiser,trial,value\n" + "".join(
    f"{part},{who},{trial},{7.9 + 0.1 * part + 0.01 * trial + 0.003 * (who == 'B')}\n"
    for part in (1, 2, 3)
    for who in "AB"
    for trial in (1, 2)
)
_ATTRIBUTES = "part,appraiser,trial,decision,reference\n" + "".join(
    f"{part},{who},{trial},{'pass' if part != 2 else 'fail'},{'pass' if part != 2 else 'fail'}\n"
    for part in (1, 2, 3)
    for who in "AB"
    for trial in (1, 2)
)
_READINGS = "".join(f"{7.9 + 0.01 * (each % 5)}\n" for each in range(12))
_TRACK = "x_mm,y_mm,layer,width_mm\n0,0,1,0.2\n1,0,1,0.2\n1,1,1,0.2\n0,1,2,0.2\n"


_SYMBOLS = {"R20": "ohm", "L": "H"}
_HOW = HowRead(
    read_map(["serial=serial", "R=R ohm", "L=L uH", "T=temperature degC"], _SYMBOLS), _SYMBOLS, 234.5, Span(15.0, 30.0)
)
_IMPORTED = "serial;R;L;T\nL2641-01-A01;7,912;11,6;22,5\nL2641-01-A02;8,1;11,5;\n"
_COPPER = {
    CopperKind.WIDTHS: "serial,layer,turn,top_um,foot_um,width_um,pitch_um,u_um\nL2641-01-A01,1,3,95,101,,240,1\n",
    CopperKind.COUPONS: "panel,coupon,width_um,length_mm,resistance_ohm,temperature_degc,u_ohm\n"
    "L2641-01,a,100,50,0.51,23,0.001\nL2641-01,b,200,50,0.25,23,0.001\n",
    CopperKind.SECTIONS: "serial,panel,thickness_um,u_um,layer,turn,top_um,foot_um\nL2641-01-A01,,17.5,0.3,1,3,,\n",
}


def _sound_texts(folder: str) -> tuple[str, ...]:
    return tuple(each.read_text("utf-8") for each in sorted(Path(data_path(folder)).glob("*.toml")))


def _dialects() -> tuple[LcrDialect, ...]:
    read = (read_dialect(each, "a.toml") for each in _sound_texts("dialects"))
    return tuple(each for each in read if isinstance(each, LcrDialect))


def _measurements(dialect: LcrDialect, numbers: int) -> tuple[bytes, ...]:
    """Return a good response of the dialect; the last number is 0, for place holders."""
    one, zero = (b"7.912000E+00", b"0.000000E+00") if dialect.status_first else (b"+7.91200E+00", b"+0.00000E+00")
    words = [each for each, status in dialect.status_words.items() if status is ReadingStatus.GOOD]
    fields = [[one] * numbers, [*[one] * (numbers - 1), zero]]
    return tuple(
        dialect.separator.join([word, *each] if dialect.status_first else [*each, word])
        for word in words
        for each in fields
    )


def _scenario(text: str) -> object:
    return read_scenario(_InMemory(text))  # type: ignore[arg-type]  # all that is asked of a path


class _InMemory:
    """A file that is nowhere: the parser of scenarios takes a path."""

    def __init__(self, text: str) -> None:
        self._text = text
        self.name = "a.toml"
        self.stem = "a"

    def read_text(self, encoding: str = "utf-8") -> str:
        """Return the text."""
        return self._text

    def __str__(self) -> str:
        return self.name


def _study(parse: Callable[[str, str], object]) -> Callable[[str], object]:
    return lambda text: parse(text, "a.csv")


TEXT_DOORS = (
    TextDoor("plan", lambda text: parse_plan(text, "a.toml"), PlanError, _sound_texts("plans")),
    TextDoor("bench file", lambda text: parse_bench(text, "a.toml"), StationError, _sound_texts("benches")),
    TextDoor(
        "reference unit",
        lambda text: parse_reference_unit(text, "a.toml"),
        StationError,
        _sound_texts("reference_units"),
    ),
    TextDoor("dialect", lambda text: read_dialect(text, "a.toml"), DialectError, _sound_texts("dialects")),
    TextDoor("scenario", _scenario, StationError, _sound_texts("nightly")),
    TextDoor("crossed study", _study(crossed_readings), StudyError, (_STUDY, _STUDY.replace(",", ";"))),
    TextDoor("attribute study", _study(attribute_decisions), StudyError, (_ATTRIBUTES,)),
    TextDoor("type 1 study", _study(single_values), StudyError, ("value\n" + _READINGS,)),
    TextDoor(
        "linearity study",
        _study(linearity_readings),
        StudyError,
        ("reference,value\n" + "".join(f"{each // 4},{each // 4 + 0.1 * (each % 3)}\n" for each in range(12)),),
    ),
    TextDoor(
        "stability study",
        _study(stability_readings),
        StudyError,
        ("occasion,value\n" + "".join(f"{each // 3},{7 + 0.1 * (each % 4)}\n" for each in range(12)),),
    ),
    TextDoor(
        "agreement study",
        _study(agreement_readings),
        StudyError,
        ("part,first,second\n" + "".join(f"{each},{7 + each},{7.1 + each}\n" for each in range(6)),),
    ),
    TextDoor("readings", _study(lambda text, file: read_readings(text, file, _HOW)), StudyError, (_IMPORTED,)),
    *(
        TextDoor(kind, _study(lambda text, file, kind=kind: read_rows(kind, text, file)), StudyError, (text,))
        for kind, text in _COPPER.items()
    ),
    TextDoor("map", lambda text: read_map(text.split("|"), _SYMBOLS), StudyError, ("a=serial|R_ohm=R20|L=L uH",)),
    TextDoor(
        "guard band",
        lambda text: parse_guard(text, "ohm"),
        ValueError,
        ("0.5 U95", "specific risk 2.5 %", "global risk 0.1 %, mean 8 ohm, standard deviation 0.3 ohm"),
    ),
    TextDoor("set label", read_set_label, StationError, ("set L2641-S0001; lot L2641; part IS-20; units A, B",)),
    TextDoor("tray", read_tray, StationError, ("T7", "2=T8")),
    TextDoor("track", read_polyline_csv, (ValueError, StationError), (_TRACK,)),
    TextDoor("serial", lambda text: read_serial(_PLAN, text), SerialError, ("L2641-01-A01",)),
    TextDoor("scan", lambda text: recognise(text, [_PLAN]), SerialError, ("L2641-01-A01", "L2641-01", "OP-07")),
    TextDoor("frequency", parse_frequency, (ValueError, StationError), ("1 in 25", "every unit", "per panel")),
    TextDoor("quantity", lambda text: parse_quantity(text, "ohm"), (ValueError, StationError), ("7.9 ohm", "8 kohm")),
    TextDoor(
        "interval",
        lambda text: parse_interval(text, "ohm"),
        (ValueError, StationError),
        ("[6.8 ohm, 7.6 ohm)", "(-inf, 3 ohm]"),
    ),
    TextDoor("serial frame", parse_frame, (ValueError, InstrumentError), ("9600 8N1", "8N1")),
)

_OK = b"<7 OK L---- 12.5"

BYTE_DOORS = (
    ByteDoor("number", parse_number, InstrumentError, (b"+7.912E+00", b"9.9E37", b"NAN")),
    ByteDoor("value", parse_value, InstrumentError, (b"+7.912E+00", b"1")),
    ByteDoor("integer", parse_integer, InstrumentError, (b"1", b"+255")),
    ByteDoor("fixture line", parse_line, InstrumentError, (_OK + b"*" + checksum(_OK),)),
    ByteDoor("error entry", parse_error_entry, InstrumentError, (b'-113,"Undefined header"', b'0,"No error"')),
    ByteDoor("identity", parse_identity, InstrumentError, (b"GENERIC,LCR-A,SN1,1.0",)),
    *(
        ByteDoor(
            f"measurement, {'status first' if dialect.status_first else 'status last'}, {function.message}",
            lambda reply, dialect=dialect, function=function: parse_measurement(dialect, function, reply),
            InstrumentError,
            _measurements(dialect, len(function.fields)),
        )
        for dialect in _dialects()
        for function in dialect.functions
    ),
)
