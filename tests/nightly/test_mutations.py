"""The nightly turns red: each mistake put into the station is caught and named by a short night."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from drivers.traced import TracedLink
from station.bench import OpenBench
from station.core.intervals import contains
from station.core.limits import judge
from station.core.plan import Characteristic, Guard, Interval, MethodStep
from station.core.results import Decision, Judgement, Result
from station.core.run_record import RunRecord
from station.drive import DriveGuard
from station.methods.context import Context, Outcome
from station.methods.table import carry_out
from station.nightly.compared import Measured, beyond_bounds, worse_than_accepted
from station.nightly.figures import figures_of
from station.nightly.night import run_night
from station.records import Records
from station.sequencer import RunBench, RunRequest, run_unit
from tests.nightly.nights import short

SEED = 1


def _guard_band_dropped(patch: pytest.MonkeyPatch) -> None:
    def bare(characteristic: Characteristic, result: Result) -> Judgement:
        return judge(replace(characteristic, guard=Guard(0.0)), result)

    patch.setattr("station.sequencer.judge", bare)


def _field_sign_swapped(patch: pytest.MonkeyPatch) -> None:
    def swapped(context: Context, step: MethodStep) -> Outcome:
        outcome = carry_out(context, step)
        results = tuple(
            replace(each, value=-each.value) if each.characteristic.startswith("B@") and each.value else each
            for each in outcome.results
        )
        return replace(outcome, results=results)

    patch.setattr("station.sequencer.carry_out", swapped)


def _drive_off_skipped(patch: pytest.MonkeyPatch) -> None:
    def skipped(self: DriveGuard) -> None:
        self.on = False

    patch.setattr(DriveGuard, "switch_off", skipped)


def _temperature_correction_inverted(patch: pytest.MonkeyPatch) -> None:
    def inverted(resistance_ohm: float, temperature_degc: float, *, k: float) -> float:
        return resistance_ohm * (k + temperature_degc) / (k + 20.0)

    patch.setattr("station.methods.resistance.reduce_to_20", inverted)


def _invalid_counted_as_fail(patch: pytest.MonkeyPatch) -> None:
    def counted(bench: RunBench, request: RunRequest, *, on_event: Callable[..., object]) -> RunRecord:
        record = run_unit(bench, request, on_event=on_event)
        return replace(record, decision=Decision.FAIL) if record.decision is Decision.INVALID else record

    patch.setattr("station.inspection.run_unit", counted)


def _digest_not_chained(patch: pytest.MonkeyPatch) -> None:
    patch.setattr("station.records.chain.append", lambda *entry: 1)


def _stale_reply_not_flushed(patch: pytest.MonkeyPatch) -> None:
    def kept(self: TracedLink, *, quiet: float, timeout: float = 2.0) -> bytes:
        return b""

    patch.setattr(TracedLink, "discard_input", kept)


def _bin_ends_included_twice(patch: pytest.MonkeyPatch) -> None:
    def closed(interval: Interval, value: float) -> bool:
        return contains(replace(interval, lower_included=True, upper_included=True), value)

    patch.setattr("station.core.bins.contains", closed)


def _run_recorded_before_it_ended(patch: pytest.MonkeyPatch) -> None:
    """The bench promises to be safe, the run is recorded, and only then is it made safe."""
    make_safe, close_run, promised = OpenBench.make_safe, Records.close_run, []

    def promise(self: OpenBench) -> bool:
        promised.append(self)
        return True

    def close_then_end(self: Records, record: RunRecord) -> int:
        sequence = close_run(self, record)
        while promised:
            make_safe(promised.pop())
        return sequence

    patch.setattr(OpenBench, "make_safe", promise)
    patch.setattr(Records, "close_run", close_then_end)


def _hot_coil_measured_as_cold(patch: pytest.MonkeyPatch) -> None:
    """Two readings are enough, however much they still move."""
    patch.setattr("station.methods.resistance._is_still", lambda *window: True)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("mutate", "scenario", "units", "figure"),
    [
        (_guard_band_dropped, "near-limits", 64, "escapes"),
        (_field_sign_swapped, "field-offset", 4, "gross_errors"),
        (_drive_off_skipped, "healthy", 2, "drive_on"),
        (_temperature_correction_inverted, "warm-shop", 4, "bias.R20"),
        (_invalid_counted_as_fail, "loose-contact", 32, "overkill"),
        (_digest_not_chained, "healthy", 2, "chain_faults"),
        (_stale_reply_not_flushed, "late-doubled", 16, "gross_errors"),
        (_bin_ends_included_twice, "bin-ends", 4, "wrong_bin"),
        (_run_recorded_before_it_ended, "healthy", 2, "recorded_early"),
        (_hot_coil_measured_as_cold, "hot-coil", 6, "bias.R20"),
    ],
)
def test_mutation_is_caught_and_named(
    monkeypatch: pytest.MonkeyPatch,
    mutate: Callable[[pytest.MonkeyPatch], None],
    scenario: str,
    units: int,
    figure: str,
) -> None:
    """Sound code stays within bounds; with the mistake the figure that it hurts is named, with seed and scenario."""
    short_one = short(scenario, units)
    before = run_night(short_one, SEED)
    sound = beyond_bounds(short_one, before)
    accepted = Measured(before.seeds, units, figures_of(before))
    mutate(monkeypatch)
    after = run_night(short_one, SEED)
    named = [each for each in beyond_bounds(short_one, after) if each.figure == figure]
    worse = {each.figure for each in worse_than_accepted(short_one, [after], accepted)}

    assert ([], [(scenario, SEED)]) == (sound, [(each.scenario, each.seed) for each in named])
    assert figure in worse
