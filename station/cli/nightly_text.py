"""A night as a table for people and as plain dictionaries for machines."""

from collections.abc import Sequence

from drivers.traced import TracedMessage
from station.app.facts import Fact
from station.cli.output import table
from station.nightly.compared import Worse
from station.nightly.figures import CHARACTERISTICS, figures_of
from station.nightly.tally import Tally, add_up

_COLUMNS = (
    ("escapes", "escapes", "count"),
    ("damaged", "damaged_passed", "count"),
    ("overkill", "overkill", "share"),
    ("invalid", "invalid_runs", "share"),
    ("not meas.", "not_measured", "share"),
    ("held", "held", "share"),
    ("drive on", "drive_on", "count"),
    ("lost", "lost_runs", "count"),
    ("mixed up", "mixed_up", "count"),
    ("gross", "gross_errors", "count"),
    ("verified", "verified", "share"),
    ("causes", "cause_accuracy", "share"),
    ("sim s", "simulated_s", "number"),
    ("real ms", "real_ms", "number"),
)
"""(heading, figure, how it is written)."""


def night_text(nights: Sequence[Tally]) -> str:
    """Return two tables, scenario by figure: what came of the units, and results against truth."""
    totals = add_up(nights)
    found = {name: figures_of(each) for name, each in totals.items()}
    outcome = table(
        ["scenario", "units", *(heading for heading, _, _ in _COLUMNS)],
        [
            [name, str(totals[name].counts.get("units", 0)), *(_cell(each.get(key), how) for _, key, how in _COLUMNS)]
            for name, each in found.items()
        ],
    )
    against_truth = table(
        ["scenario", *(f"{each} bias, coverage" for each in CHARACTERISTICS)],
        [
            [
                name,
                *(
                    f"{_cell(each.get(f'bias.{c}'), 'bias')} {_cell(each.get(f'coverage.{c}'), 'share')}"
                    for c in CHARACTERISTICS
                ),
            ]
            for name, each in found.items()
        ],
    )
    heading = "Results against truth: mean relative error, share within the stated 95 % uncertainty"
    return f"{outcome}\n\n{heading}\n{against_truth}"


def tally_fact(tally: Tally) -> Fact:
    """Return a scenario's figures, counts and notes."""
    return {
        "scenario": tally.scenario,
        "seeds": list(tally.seeds),
        "units": tally.counts.get("units", 0),
        "figures": figures_of(tally),
        "counts": dict(sorted(tally.counts.items())),
        "notes": list(tally.notes),
    }


def worse_fact(worse: Worse) -> Fact:
    """Return what got worse, and what replays it."""
    return {"scenario": worse.scenario, "seed": worse.seed, "figure": worse.figure, "words": worse.words}


def message_text(message: TracedMessage) -> str:
    """Return one message as a line: simulated seconds, instrument, direction, bytes."""
    arrow = ">" if message.direction == "out" else "<"
    return f"{message.monotonic_s:12.6f}  {message.instrument:<14} {arrow} {message.data!r}"


def message_fact(message: TracedMessage) -> Fact:
    """Return one message; its bytes as text, each byte one character (ISO 8859-1)."""
    return {
        "monotonic_s": message.monotonic_s,
        "instrument": message.instrument,
        "direction": message.direction,
        "data": message.data.decode("latin-1"),
    }


def _cell(value: float | None, how: str) -> str:
    if value is None:
        return "-"
    if how == "count":
        return f"{value:.0f}"
    if how == "share":
        return f"{100.0 * value:.1f} %"
    return f"{100.0 * value:.2f} %" if how == "bias" else f"{value:.1f}"
