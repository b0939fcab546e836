"""What goes with one unit: its results with uncertainty and limits, the decision, who measured with what."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from station.core.characteristics import yields
from station.core.concession import Concession
from station.core.plan import Plan
from station.core.results import Decision, Judgement, Result, ResultStatus
from station.core.run_record import RunRecord
from station.core.verification import Verification
from station.records.views import Head, LaterDecision
from station.reports.concession_blocks import unit_blocks
from station.reports.document import Block, Document, Facts, Heading, Paragraph, Table
from station.reports.pictures import printed

_WORDS = {Decision.PASS: "pass", Decision.FAIL: "fail", Decision.INVALID: "not measured"}


@dataclass(frozen=True, slots=True)
class UnitFindings:
    """What a unit's paper says: its latest production run, the latest decision on it, and whether it is held now."""

    record: RunRecord
    later: LaterDecision | None
    held: bool
    plan: Plan | None
    """Under which the latest decision was made; None if its text is not on record."""
    plan_words: str
    verification: Verification | None
    head: Head
    concession: Concession | None = None
    """By which it was accepted; then `decision` is FAIL."""

    @property
    def decision(self) -> Decision:
        """The latest one."""
        return self.record.decision if self.later is None else self.later.decision

    @property
    def passes(self) -> bool:
        """Whether this may be called a certificate."""
        return self.decision is Decision.PASS and not self.held


def unit_document(found: UnitFindings) -> Document:
    """Return the unit's certificate; of a unit that doesn't pass, or is held, a report that says so in its title."""
    opened = found.record.opened
    serial = opened.unit.serial
    title = f"Certificate of unit {serial}" if found.passes else f"Unit {serial}: {_standing(found)}"
    return Document(
        title=title,
        subtitle=f"Part {opened.part}. Measured {_minute(opened.opened_utc)}.",
        date_utc=found.record.closed_utc if found.later is None else found.later.decided_utc,
        blocks=(*_decision(found), *_conceded(found), *_results(found), *_means(found), *_origin(found)),
        simulated=opened.simulated,
        footer=title,
    )


def _standing(found: UnitFindings) -> str:
    words = _WORDS[found.decision]
    if found.later is not None and found.later.concession:
        words = f"accepted by {_kind(found)} {found.later.concession}"
    return f"held ({words})" if found.held else words


def _kind(found: UnitFindings) -> str:
    return "concession" if found.concession is None else found.concession.kind.value


def _conceded(found: UnitFindings) -> Iterator[Block]:
    if found.concession is not None:
        yield from unit_blocks(found.concession, found.plan, found.record.results)


def _decision(found: UnitFindings) -> Iterator[Block]:
    record, later = found.record, found.later
    unit = record.opened.unit
    place = ", ".join(f"{word} {value}" for word, value in _place(found) if value)
    reason = record.reason if later is None else later.reason
    number, name = (record.bin_number, record.bin_name) if later is None else (later.bin_number, later.bin_name)
    pairs = [("Decision", _standing(found)), ("Bin", f"{number} ({name})"), ("Lot", unit.lot or "none")]
    if place:
        pairs.append(("Place", place))
    if reason is not None:
        pairs.append(("Reason", reason.words))
    if found.held:
        pairs.append(("Held", "set aside until an engineer decides; it is not to be used"))
    if later is not None:
        pairs.append(("Decided again", f"{_minute(later.decided_utc)} by {later.who}: {later.why}"))
    if later is not None and later.concession:
        pairs.append(("Concession", f"{later.concession}: the unit does not conform and is not counted as passed"))
    yield Facts(tuple(pairs))


def _place(found: UnitFindings) -> tuple[tuple[str, str], ...]:
    unit = found.record.opened.unit
    return (("panel", unit.panel), ("row", unit.row), ("column", unit.column))


def _results(found: UnitFindings) -> Iterator[Block]:
    made = found.record.judgements if found.later is None else found.later.judgements
    judgements = {each.characteristic: each for each in made}
    results = [each for each in found.record.results if _is_the_units(each, found.plan)]
    shown = [each for each in results if each.status is not ResultStatus.NOT_DUE]
    yield Heading("Results")
    if not shown:
        yield Paragraph("No values: the run ended before they could be proved.")
        return
    headers = ("", "value", "U (95\u00a0%)", "lower limit", "upper limit", "accepted from", "accepted to", "decision")
    rows = tuple(_row(each, judgements.get(each.characteristic), found.plan) for each in shown)
    yield Table(headers, rows, words=(0, 7))
    yield Paragraph(
        "U: expanded uncertainty. Limits: the control plan's tolerance limits. A value is accepted within them by a "
        "guard band (JCGM 106): a multiple of U, or what a largest consumer's risk asks for. B is the flux density per "
        "ampere on the axis at that height. Conditional: within the guard band of a limit (ILAC-G8)."
    )
    not_due = [each.characteristic for each in results if each.status is ResultStatus.NOT_DUE]
    if not_due:
        yield Paragraph(f"Not due on this unit: {', '.join(not_due)}.")


def _is_the_units(result: Result, plan: Plan | None) -> bool:
    """Whether a result is about the unit; some are about how it lay under the sensor."""
    return plan is None or any(result.characteristic == name for step in plan.steps for name, _ in yields(step))


def _row(result: Result, judgement: Judgement | None, plan: Plan | None) -> tuple[str, ...]:
    unit = result.unit_symbol
    limits = None if plan is None else plan.characteristic(result.characteristic)
    decision = None if judgement is None else judgement.decision
    words = "" if decision is None else _WORDS[decision]
    return (
        result.characteristic,
        printed(result.value, unit, digits=5) if result.status is ResultStatus.MEASURED else result.status.value,
        printed(result.expanded_uncertainty, unit, digits=2),
        printed(limits.lower if limits else None, unit),
        printed(limits.upper if limits else None, unit),
        printed(judgement.acceptance_lower if judgement else None, unit, digits=5),
        printed(judgement.acceptance_upper if judgement else None, unit, digits=5),
        f"{words}, conditional" if judgement is not None and judgement.conditional else words,
    )


def _means(found: UnitFindings) -> Iterator[Block]:
    if found.record.identities:
        yield Heading("Measured with")
        rows = tuple((each.name, each.identity, each.calibration_due or "–") for each in found.record.identities)
        yield Table(("instrument", "identity", "calibration due"), rows, words=(0, 1, 2))


def _origin(found: UnitFindings) -> Iterator[Block]:
    opened, head = found.record.opened, found.head
    verified = "none" if found.verification is None else _minute(found.verification.done_utc)
    yield Heading("Where this comes from")
    yield Facts(
        (
            ("Control plan", found.plan_words),
            ("Bench, nest", f"{opened.bench}, {opened.nest}"),
            ("Bench verified", verified),
            ("Operator", opened.operator or "not recorded"),
            ("Run", opened.run_id),
            ("Software", f"coilgate {opened.software_version}"),
            (f"Digest chain, {head.bench or 'station'}", f"entry {head.seq}: {head.digest}"),
        )
    )
    yield Paragraph(
        "This states what was measured on this unit by a production station. It is no calibration certificate "
        "(ISO/IEC 17025)."
    )


def _minute(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} UTC"
