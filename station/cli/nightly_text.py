"""A night as a table for people and as plain dictionaries for machines."""

from collections.abc import Mapping, Sequence

from station.app.facts import Fact
from station.cli.output import table
from station.nightly.compared import Worse
from station.nightly.figures import CHARACTERISTICS, figures_of
from station.nightly.shrinking import Shrunk
from station.nightly.tally import Tally, add_up

_COLUMNS = (
    ("escapes", "escapes", "count"),
    ("damaged", "damaged_passed", "count"),
    ("overkill", "overkill", "share"),
    ("invalid", "invalid_runs", "share"),
    ("not meas.", "not_measured", "share"),
    ("held", "held", "share"),
    ("drive on", "drive_on", "count"),
    ("off s", "drive_off_s", "number"),
    ("lost", "lost_runs", "count"),
    ("early", "recorded_early", "count"),
    ("bin", "wrong_bin", "count"),
    ("mixed up", "mixed_up", "count"),
    ("gross", "gross_errors", "count"),
    ("verified", "verified", "share"),
    ("causes", "cause_accuracy", "share"),
    ("sim s", "simulated_s", "number"),
    ("real ms", "real_ms", "number"),
)
"""(heading, figure, how it is written)."""

_UNHEATED = CHARACTERISTICS.index("B@8mm") + 1


def night_text(nights: Sequence[Tally]) -> str:
    """Return tables, scenario by figure: what came of the units, and results against truth."""
    totals = add_up(nights)
    found = {name: figures_of(each) for name, each in totals.items()}
    outcome = table(
        ["scenario", "units", *(heading for heading, _, _ in _COLUMNS)],
        [
            [name, str(totals[name].counts.get("units", 0)), *(_cell(each.get(key), how) for _, key, how in _COLUMNS)]
            for name, each in found.items()
        ],
    )
    heading = "Results against truth: mean relative error, share within the stated 95 % uncertainty"
    parts = [outcome, "", heading, _against_truth(found, CHARACTERISTICS[:_UNHEATED])]
    heated = {name: each for name, each in found.items() if f"bias.{CHARACTERISTICS[_UNHEATED]}" in each}
    if heated:
        parts += ["", _against_truth(heated, CHARACTERISTICS[_UNHEATED:])]
    return "\n".join(parts)


def _against_truth(found: Mapping[str, Mapping[str, float]], names: Sequence[str]) -> str:
    return table(
        ["scenario", *(f"{each} bias, coverage" for each in names)],
        [
            [
                scenario,
                *(
                    f"{_cell(each.get(f'bias.{name}'), 'bias')} {_cell(each.get(f'coverage.{name}'), 'share')}"
                    for name in names
                ),
            ]
            for scenario, each in found.items()
        ],
    )


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


def brief_text(nights: Sequence[Tally], worse: Sequence[Worse]) -> str:
    """Return one line a scenario, each with what got worse in it."""
    lines = []
    for name, tally in add_up(nights).items():
        own = [each for each in worse if each.scenario == name]
        how = f"{tally.counts.get('units', 0)} units, {len(tally.seeds)} seeds, {tally.real_s:.1f} s"
        lines.append(f"{'WORSE' if own else 'ok   '} {name}: {'; '.join(map(str, own)) or how}")
    return "\n".join(lines)


def shrunk_fact(shrunk: Shrunk) -> Fact:
    """Return the shortest script that still fails."""
    return {
        "scenario": shrunk.scenario,
        "seed": shrunk.seed,
        "figure": shrunk.figure,
        "mishaps": [{"number": each.number, "words": each.words} for each in shrunk.mishaps],
        "of": shrunk.of,
        "nights": shrunk.nights,
        "minimal": shrunk.minimal,
    }


def worse_fact(worse: Worse) -> Fact:
    """Return what got worse, and what replays it."""
    return {"scenario": worse.scenario, "seed": worse.seed, "figure": worse.figure, "words": worse.words}


def _cell(value: float | None, how: str) -> str:
    if value is None:
        return "-"
    if how == "count":
        return f"{value:.0f}"
    if how == "share":
        return f"{100.0 * value:.1f} %"
    return f"{100.0 * value:.2f} %" if how == "bias" else f"{value:.1f}"
