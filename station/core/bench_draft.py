"""The text of a bench file from what answered: what is known is stated, what is not is marked `# unknown`.

Pure. An instrument of unknown kind, or a second one of a kind, stands there commented out: the file is sound as soon as
one of each kind is known, and nothing in it is guessed.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from station.core.bench_file import KINDS, accuracy_lines
from station.core.equipment import Accuracy, Bench, FixtureSetup
from station.core.toml_edit import comment_place
from station.errors import BenchError, Mistake

UNKNOWN = "# unknown:"

_MEASURES = {
    "lcr": ("dc_resistance", "series_inductance", "series_resistance"),
    "source": ("current", "voltage"),
    "fixture": ("flux_density",),
    "thermometer": ("temperature_coil", "temperature_ambient"),
}
"""What an accuracy must be stated for, so that a result has an uncertainty."""


@dataclass(frozen=True, slots=True)
class FoundInstrument:
    """One that answered. `kind` and `dialect` are empty where its identity alone doesn't tell them."""

    address: str
    identity: str
    kind: str = ""
    dialect: str = ""
    baud: int = 0
    accuracies: tuple[Accuracy, ...] = ()
    like: str = ""
    """Where kind, dialect and accuracy were taken from, in words."""


@dataclass(frozen=True, slots=True)
class BenchDraft:
    """A bench to be written: `simulated` ones are marked so, with where their operator's hands listen."""

    found: tuple[FoundInstrument, ...]
    silent: tuple[tuple[str, str], ...]
    """Address and what happened there."""
    simulated: bool = False
    operator_address: str = ""


def draft_text(draft: BenchDraft) -> str:
    """Return the text of the bench file."""
    return "\n".join(_lines(draft)) + "\n"


def require_settled(bench: Bench, file_name: str) -> None:
    """Raise `BenchError`, naming each line, if a real bench states anything that is still marked as unknown.

    A guessed half width is a guard band that is too narrow.
    """
    if bench.simulated:
        return
    words = f"is marked '{UNKNOWN}'; put in what is so here and take the mark away"
    mistakes = [
        Mistake(file_name, number, line.partition("=")[0].strip(), words)
        for number, line in enumerate(bench.source_text.splitlines(), start=1)
        if line.startswith(UNKNOWN, place := comment_place(line)) and line[:place].strip()
    ]
    if mistakes:
        raise BenchError(mistakes)


def missing_kinds(draft: BenchDraft) -> tuple[str, ...]:
    """Return the kinds that no instrument found is known to be."""
    known = {each.kind for each in draft.found}
    return tuple(each for each in KINDS if each not in known)


def _lines(draft: BenchDraft) -> Iterator[str]:
    yield "# A draft of what answered. Look at every line marked unknown, then: coilgate bench check --bench FILE"
    yield "#"
    yield "# CAUTION. Coils get hot enough to burn. Magnets near the fixture pinch, and harm implants and cards."
    yield "# A source can deliver its full current into a short. Fit a guard, and a stop worked by hand that cuts the"
    yield "# drive without any software. The makers' instructions, local codes and licensed practice come first."
    yield ""
    yield f'name = "bench-1"   {UNKNOWN} the name of this workplace'
    yield 'nest = "1"'
    yield f'mains = "50 Hz"   {UNKNOWN} 60 Hz where the mains have it'
    if draft.simulated:
        yield "simulated = true   # by the maker in the identities"
    if draft.operator_address:
        yield f"operator_address = {_text(draft.operator_address)}"
    yield ""
    yield from _fixture_lines()
    seen: set[str] = set()
    for each in draft.found:
        yield ""
        known = bool(each.kind) and bool(each.dialect) and each.kind not in seen
        number = 1 + sum(other.kind == each.kind for other in draft.found[: draft.found.index(each)])
        yield from _instrument_lines(each, f"{each.kind or 'instrument'}-{number}", known=known, twin=each.kind in seen)
        seen.add(each.kind)
    for kind in missing_kinds(draft):
        yield ""
        yield f"{UNKNOWN} no {kind} is known to have answered; a bench has one"
    if draft.silent:
        yield ""
        yield "# Without an answer:"
        yield from (f"#   {address}: {' '.join(words.split())}" for address, words in draft.silent)


def _fixture_lines() -> Iterator[str]:
    usual = FixtureSetup()
    yield "# Each half width is a bound. They go into the uncertainty of every result, so measure them, don't guess."
    yield "[fixture]"
    for key in ("stage", "kelvin_check", "dead_man", "remote_sense"):
        yield f"{key} = {str(getattr(usual, key)).lower()}   {UNKNOWN} whether it is so here"
    for key, value in (
        ("height_half_width", "20 um"),
        ("lateral_half_width", "0.2 mm"),
        ("contact_half_width", "2 mohm"),
        ("coil_temperature_half_width", "0.3 K"),
    ):
        yield f'{key} = "{value}"   {UNKNOWN} the usual one, to be measured'


def _instrument_lines(found: FoundInstrument, name: str, *, known: bool, twin: bool) -> Iterator[str]:
    mark = "" if known else "# "
    if twin and found.kind:
        yield f"{UNKNOWN} a second {found.kind} answered; a bench has one. Which?"
    elif not known:
        yield f"{UNKNOWN} its identity tells neither kind ({', '.join(KINDS)}) nor dialect; state both"
    yield f"{mark}[[instrument]]"
    yield f"{mark}name = {_text(name)}"
    yield f"{mark}kind = {_text(found.kind or '?')}{_of(found.like)}"
    yield f"{mark}address = {_text(found.address)}"
    yield f"{mark}dialect = {_text(found.dialect or '?')}"
    yield f"{mark}identity = {_text(found.identity)}"
    if found.baud:
        yield f"{mark}baud = {found.baud}"
    yield f"# calibration_due = 2027-12-31   {UNKNOWN} from its certificate"
    if found.accuracies:
        for each in found.accuracies:
            yield ""
            yield f"{mark}[[instrument.accuracy]]{_of(found.like)}"
            yield from (f"{mark}{line}" for line in accuracy_lines(each))
        return
    for quantity in _MEASURES.get(found.kind, ()):
        yield f"# [[instrument.accuracy]]   {UNKNOWN} from its data sheet"
        yield f"# quantity = {_text(quantity)}"


def _of(like: str) -> str:
    return f"   # as in {like}" if like else ""


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def with_kinds(found: Sequence[FoundInstrument], told: dict[str, tuple[str, str]]) -> tuple[FoundInstrument, ...]:
    """Return what was found with kind and dialect as somebody told for some addresses."""
    return tuple(
        FoundInstrument(each.address, each.identity, *told[each.address], each.baud, each.accuracies, "what was told")
        if each.address in told
        else each
        for each in found
    )
