"""Puts other limits, frequencies and bins into a plan's text; all else, comments included, stays as it stands."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from station.core.frequency import frequency_words, parse_frequency
from station.core.guard_text import guard_text
from station.core.intervals import format_interval, parse_interval
from station.core.plan import Bin, BinFor, Characteristic, Frequency, Interval, Plan
from station.core.plan_file import parse_plan
from station.core.quantity import format_quantity
from station.core.toml_edit import array_spans, key_literal, put, table_span, text_literal
from station.errors import Mistake, PlanError

_NOT_DUE = "not due"
_NEED = re.compile(r"(\S+)\s+(.+)")


@dataclass(frozen=True, slots=True)
class LimitTexts:
    """The limits of one characteristic as a person writes them; empty: none there."""

    lower: str
    upper: str
    guard: str


@dataclass(frozen=True, slots=True)
class BinTexts:
    """A bin as a person writes it. `needs`: `R20 [6.8 ohm, 7.6 ohm); rise@3V not due`. Without number: no bin."""

    number: str
    name: str
    takes: str
    needs: str


@dataclass(frozen=True, slots=True)
class PlanForm:
    """What the form of a plan says; what it leaves out stays."""

    limits: Mapping[str, LimitTexts] = field(default_factory=dict)
    frequencies: Mapping[int, str] = field(default_factory=dict)
    """By the place of the method in the plan, from 0."""
    bins: Sequence[BinTexts] = ()
    """One a `[[bin]]` of the text, in order, then new ones; empty: they stay."""


def limit_texts(characteristic: Characteristic) -> LimitTexts:
    """Return a characteristic's limits as text that gives the same numbers back."""
    return LimitTexts(
        _text(characteristic.lower, characteristic.unit_symbol),
        _text(characteristic.upper, characteristic.unit_symbol),
        guard_text(characteristic.guard, characteristic.unit_symbol),
    )


def _text(value: float | None, unit_symbol: str) -> str:
    return "" if value is None else format_quantity(value, unit_symbol, digits=None)


def bin_texts(plan: Plan) -> tuple[BinTexts, ...]:
    """Return the bins that stand in a plan's text, as texts; those made by themselves are not among them."""
    written = len(array_spans(plan.source_text.splitlines(), "bin"))
    return tuple(
        BinTexts(str(each.number), each.name, each.takes.value, _needs_text(plan, each)) for each in plan.bins[:written]
    )


def _needs_text(plan: Plan, place: Bin) -> str:
    units = {each.name: each.unit_symbol for each in plan.characteristics}
    return "; ".join(
        f"{name} {_NOT_DUE if interval is None else format_interval(interval, units[name])}"
        for name, interval in place.needs
    )


def with_limits(text: str, wanted: Mapping[str, LimitTexts], *, file_name: str) -> str:
    """Return a plan's text with the limits of some characteristics replaced; see `with_form`."""
    return with_form(text, PlanForm(limits=wanted), file_name=file_name)


def with_form(text: str, form: PlanForm, *, file_name: str) -> str:
    """Return a plan's text with what a form says, all at once: limits and the bins that follow them.

    Only lines that differ are touched. Raises `PlanError` if the outcome is no sound plan, or if the text is written
    in a way that can't be edited here (inline tables): then the text itself must be edited.
    """
    plan = parse_plan(text, file_name)
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    for name, texts in form.limits.items():
        _put_limits(lines, plan, name, texts, file_name)
    for place, words in form.frequencies.items():
        _put_frequency(lines, plan, place, words, file_name)
    bins = [_read_bin(plan, each, i, file_name) for i, each in enumerate(form.bins)]
    _put_bins(lines, plan, bins)
    edited = "".join(lines)
    if edited.rstrip("\n") == text.rstrip("\n"):
        return text
    _require_as_wanted(parse_plan(edited, file_name), plan, form, bins, file_name)
    return edited


def changes_of(shown_text: str, form: PlanForm, *, text: str, file_name: str) -> PlanForm:
    """Return what somebody has changed in a form that showed `shown_text`; the text itself may have become `text`.

    What was left as it was shown is nobody's wish: a text that was edited by hand keeps its own. Raises `PlanError` if
    methods or bins were changed in both: then a field's place no longer says what it is.
    """
    shown, now = parse_plan(shown_text, file_name), parse_plan(text, file_name)
    limits = {
        name: texts
        for name, texts in form.limits.items()
        if (found := shown.characteristic(name)) is None or limit_texts(found) != texts
    }
    frequencies = {
        place: words
        for place, words in form.frequencies.items()
        if place >= len(shown.steps) or frequency_words(shown.steps[place].frequency) != words.strip()
    }
    rows = list(form.bins)
    while rows and not any((rows[-1].number, rows[-1].name, rows[-1].needs)):
        rows.pop()
    bins = () if tuple(rows) == bin_texts(shown) else tuple(rows)
    both = "was changed in the text and in the form; change one, look, then the other"
    if frequencies and [each.method for each in shown.steps] != [each.method for each in now.steps]:
        raise _mistake(file_name, "measure", both)
    if bins and bin_texts(shown) != bin_texts(now):
        raise _mistake(file_name, "bin", both)
    return PlanForm(limits, frequencies, bins)


def _put_limits(lines: list[str], plan: Plan, name: str, texts: LimitTexts, file_name: str) -> None:
    found = plan.characteristic(name)
    if found is None:
        return
    before = limit_texts(found)
    for key in ("lower", "upper", "guard"):
        value = getattr(texts, key).strip()
        if value == getattr(before, key):
            continue
        span = table_span(lines, "characteristic", name)
        if span is None:
            raise _mistake(file_name, f"characteristic.{name}", "has no table of its own; edit the plan's text instead")
        put(lines, span, key, text_literal(value) if value else "")


def _put_frequency(lines: list[str], plan: Plan, place: int, words: str, file_name: str) -> None:
    if not 0 <= place < len(plan.steps) or _frequency(words, place, file_name) == plan.steps[place].frequency:
        return
    spans = array_spans(lines, "measure")
    if len(spans) != len(plan.steps):
        raise _mistake(file_name, "measure", "is not written as [[measure]] tables; edit the plan's text instead")
    wanted = _frequency(words, place, file_name)
    put(lines, spans[place], "frequency", "" if wanted == Frequency() else text_literal(frequency_words(wanted)))


def _frequency(words: str, place: int, file_name: str) -> Frequency:
    try:
        return parse_frequency(words)
    except ValueError as error:
        raise _mistake(file_name, f"measure[{place + 1}].frequency", str(error)) from error


def _read_bin(plan: Plan, texts: BinTexts, place: int, file_name: str) -> Bin | None:
    """Return a bin of the form; None for a row without a number."""
    if not texts.number.strip():
        return None
    key = f"bin[{place + 1}]"
    if not texts.number.strip().isdecimal():
        raise _mistake(file_name, f"{key}.number", f"must be a whole number; got {texts.number[:20]!r}")
    if texts.takes not in list(BinFor):
        raise _mistake(file_name, f"{key}.takes", f"must be one of {', '.join(BinFor)}; got {texts.takes[:20]!r}")
    needs = tuple(_read_need(plan, each, key, file_name) for each in texts.needs.split(";") if each.strip())
    return Bin(int(texts.number), texts.name.strip(), BinFor(texts.takes), needs)


def _read_need(plan: Plan, words: str, key: str, file_name: str) -> tuple[str, Interval | None]:
    match = _NEED.fullmatch(words.strip())
    found = plan.characteristic(match.group(1)) if match else None
    if match is None or found is None:
        wanted = "must be a characteristic with limits and its interval, such as 'R20 [6.8 ohm, 7.6 ohm)'"
        raise _mistake(file_name, f"{key}.needs", f"{wanted}; got {words.strip()[:60]!r}")
    if match.group(2).strip() == _NOT_DUE:
        return found.name, None
    try:
        return found.name, parse_interval(match.group(2), found.unit_symbol)
    except ValueError as error:
        raise _mistake(file_name, f"{key}.needs.{found.name}", str(error)) from error


def _put_bins(lines: list[str], plan: Plan, wanted: Sequence[Bin | None]) -> None:
    """From the last to the first, so that the lines before stay where they are."""
    if not wanted:
        return
    written = array_spans(lines, "bin")
    for place in reversed(range(min(len(written), len(wanted)))):
        bin_wanted, former = wanted[place], plan.bins[place]
        if bin_wanted is None:
            start, end = written[place]
            del lines[start - 1 : end]
        elif bin_wanted != former:
            _change_bin(lines, plan, place, bin_wanted, former)
    for new in wanted[len(written) :]:
        if new is not None:
            at = _place_for(lines, new, [each for each in wanted[: len(written)] if each is not None])
            lines[at:at] = ["\n", "[[bin]]\n", *_bin_lines(plan, new)]


def _place_for(lines: Sequence[str], new: Bin, standing: Sequence[Bin]) -> int:
    """Before the first bin that would take everything of its kind, else after the last one."""
    spans = array_spans(lines, "bin")
    for span, each in zip(spans, standing, strict=False):
        if each.takes is new.takes and not each.needs and new.needs:
            at = span[0] - 1
            while at > 0 and not lines[at - 1].split("#")[0].strip():
                at -= 1
            return at
    return spans[-1][1] if spans else len(lines)


def _change_bin(lines: list[str], plan: Plan, place: int, wanted: Bin, former: Bin) -> None:
    values = {
        "number": (str(wanted.number), wanted.number != former.number),
        "name": (text_literal(wanted.name), wanted.name != former.name),
        "takes": (text_literal(wanted.takes.value), wanted.takes is not former.takes),
        "needs": (_needs_literal(plan, wanted), wanted.needs != former.needs),
    }
    for key, (literal, differs) in values.items():
        if differs:
            put(lines, array_spans(lines, "bin")[place], key, literal)


def _bin_lines(plan: Plan, new: Bin) -> list[str]:
    made = [f"number = {new.number}\n", f"name = {text_literal(new.name)}\n"]
    if new.takes is not BinFor.PASS:
        made.append(f"takes = {text_literal(new.takes.value)}\n")
    if new.needs:
        made.append(f"needs = {_needs_literal(plan, new)}\n")
    return made


def _needs_literal(plan: Plan, place: Bin) -> str:
    if not place.needs:
        return ""
    units = {each.name: each.unit_symbol for each in plan.characteristics}
    pairs = (
        (name, _NOT_DUE if interval is None else format_interval(interval, units[name]))
        for name, interval in place.needs
    )
    return f"{{ {', '.join(f'{key_literal(name)} = {text_literal(words)}' for name, words in pairs)} }}"


def _require_as_wanted(
    edited: Plan, before: Plan, form: PlanForm, bins: Sequence[Bin | None], file_name: str
) -> None:
    """The edit has done what was asked and nothing else; text in an odd layout could defeat it."""
    for each in edited.characteristics:
        former = before.characteristic(each.name)
        same = (each.unit_symbol, each.method) == (former.unit_symbol, former.method) if former else False
        if not same or (each.name not in form.limits and each != former):
            raise _mistake(file_name, f"characteristic.{each.name}", "could not be edited; edit the plan's text")
    if len(edited.characteristics) != len(before.characteristics):
        raise _mistake(file_name, "characteristic", "a limit was the last of its table; edit the plan's text")
    steps = tuple(
        replace(each, frequency=parse_frequency(form.frequencies[i])) if i in form.frequencies else each
        for i, each in enumerate(before.steps)
    )
    if edited.steps != steps or edited.coil != before.coil:
        raise _mistake(file_name, "measure", "could not be edited; edit the plan's text")
    wanted = [each for each in bins if each is not None]
    if not all(each in edited.bins for each in wanted) or (not bins and edited.bins != before.bins):
        raise _mistake(file_name, "bin", "could not be edited; edit the plan's text")


def _mistake(file_name: str, key: str, words: str) -> PlanError:
    return PlanError([Mistake(file_name, 1, key, words)])
