"""The table of a night: scenario by figure. Each figure says which way is worse."""

from dataclasses import dataclass
from enum import StrEnum

from station.nightly.tally import Tally

CHARACTERISTICS = ("R20", "L", "B@1mm", "B@2mm", "B@4mm", "B@8mm", "rise@1V", "rise@1.5V", "rise@2V", "Rth@air", "tau")
"""Of the plans that the nightly's scenarios name."""


class Better(StrEnum):
    """Which way a figure is better."""

    LOW = "low"
    HIGH = "high"
    NONE = "none"
    """Shown, never compared: it depends on the machine, or says what the day was like."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure's name, which way is better, and what it says."""

    name: str
    better: Better
    words: str


_PLAIN = (
    Figure("escapes", Better.LOW, "units out of tolerance that passed and are not held after the last verification"),
    Figure("damaged_passed", Better.LOW, "units with a defect whose values are within limits, passed"),
    Figure("overkill", Better.LOW, "share of conforming, undamaged units that FAIL"),
    Figure("invalid_runs", Better.LOW, "share of runs that are INVALID"),
    Figure("not_measured", Better.LOW, "share of units without a decision at the end"),
    Figure("held", Better.LOW, "share of units held at the end"),
    Figure("drive_on", Better.LOW, "runs after which the drive was on without the bench being latched"),
    Figure("drive_off_s", Better.LOW, "longest time from last reply, failure or stop to the output being off"),
    Figure("mishaps", Better.LOW, "what would have hurt hardware or hands"),
    Figure("latched", Better.LOW, "nights that ended with the drive's state unknown"),
    Figure("lost_runs", Better.LOW, "acknowledged runs not on record as they were shown"),
    Figure("open_runs", Better.LOW, "runs left open"),
    Figure("chain_faults", Better.LOW, "faults of the digest chains"),
    Figure("double_scans_taken", Better.LOW, "judged units that were measured again unasked"),
    Figure("recorded_early", Better.LOW, "runs put on record before their bench was safe, or not in one transaction"),
    Figure("wrong_bin", Better.LOW, "units passed into another bin than their values say, or that two bins claim"),
    Figure("mixed_up", Better.LOW, "decisions on another coil than the one scanned"),
    Figure("refused", Better.LOW, "scans refused before a run was open"),
    Figure("bench_refused", Better.LOW, "times the bench could not be opened, or not closed safely"),
    Figure("night_failed", Better.LOW, "nights that an error of the program broke off"),
    Figure("gross_errors", Better.LOW, "results off by more than twice their expanded uncertainty"),
    Figure("verified", Better.HIGH, "share of verifications (before and after the lot) that the bench stood"),
    Figure("cause_accuracy", Better.HIGH, "share of units not passed whose likeliest cause is the true one"),
    Figure("simulated_s", Better.LOW, "simulated seconds a unit, both verifications included"),
    Figure("real_ms", Better.NONE, "real milliseconds a unit on this machine"),
)

FIGURES = (
    *_PLAIN,
    *(Figure(f"bias.{each}", Better.LOW, f"size of the mean relative error of {each}") for each in CHARACTERISTICS),
    *(
        Figure(f"coverage.{each}", Better.HIGH, f"share of {each} within its stated expanded uncertainty")
        for each in CHARACTERISTICS
    ),
)
_BY_NAME = {each.name: each for each in FIGURES}

SHARE_OF = {
    "overkill": "conforming",
    "invalid_runs": "runs",
    "not_measured": "units",
    "held": "units",
    "verified": "verifications",
}
"""What a count is divided by."""

_LONGEST = ("drive_off_s",)
"""Not counted: the largest of a night."""


def is_figure(name: str) -> bool:
    """Tell whether there is a figure of this name."""
    return name in _BY_NAME


def figure(name: str) -> Figure:
    """Return a figure by its name; `KeyError` if there is none."""
    return _BY_NAME[name]


def figures_of(tally: Tally) -> dict[str, float]:
    """Return a tally's figures; those that nothing was counted for are left out."""
    counts, moments = tally.counts, tally.moments
    units = counts.get("units", 0)
    found: dict[str, float] = {}
    for each in _PLAIN:
        of = SHARE_OF.get(each.name)
        if each.name in _LONGEST:
            continue
        if of is None:
            found[each.name] = counts.get(each.name, 0)
        elif counts.get(of):
            found[each.name] = counts.get(each.name, 0) / counts[of]
    found["gross_errors"] = sum(each.gross for each in moments.values())
    found |= tally.longest
    del found["cause_accuracy"], found["simulated_s"], found["real_ms"]
    if counts.get("causes_asked"):
        found["cause_accuracy"] = counts.get("causes_right", 0) / counts["causes_asked"]
    if units:
        found["simulated_s"] = tally.simulated_s / units
        found["real_ms"] = 1e3 * tally.real_s / units
    for name in CHARACTERISTICS:
        moment = moments.get(name)
        if moment is not None and moment.count:
            found[f"bias.{name}"] = abs(moment.relative_error / moment.count)
            found[f"coverage.{name}"] = moment.covered / moment.count
    return found
