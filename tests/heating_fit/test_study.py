"""The soak table's study, on few curves; the command runs it on thousands."""

import json
from time import process_time

import numpy as np
import pytest
from click.testing import CliRunner

from station.cli.bench import bench
from station.coil.heating import Drive, ThermalModel, heating_curve_k
from station.heating_fit.audit_study import audit_row
from station.heating_fit.study import (
    AMBIENT_DEGC,
    DRIFT_UNSEEN,
    FAMILIES,
    HIDDEN,
    Family,
    draw_curves,
    study_chunk,
)
from station.heating_fit.table import soak_rows

SEED = (11,)


def test_drawn_curve_agrees_with_the_coil_model() -> None:
    """The vectorised curves are those of the coil's heating model."""
    curves = draw_curves(FAMILIES[0], 1, np.random.default_rng(3), longest_s=40.0)
    drive = Drive(voltage_v=float(curves.voltage_v[0]))
    r20, main_s = float(curves.resistance_20_ohm[0]), float(curves.main_s[0])
    power_w = float(drive.power_w(r20 * (234.5 + AMBIENT_DEGC + curves.steady_k[0]) / 254.5))
    model = ThermalModel((float(curves.steady_k[0]) / power_w,), (main_s,))

    assert heating_curve_k(curves.times_s, r20, drive, model, AMBIENT_DEGC) == pytest.approx(
        curves.rises_k[0], abs=2e-3
    )


@pytest.mark.slow
@pytest.mark.parametrize("family", FAMILIES[:2], ids=lambda family: family.name)
def test_rules_keep_what_they_promise(family: Family) -> None:
    """On a small sample: early, right, and at least 60 % of the plateau rule's soak time saved."""
    rows = {each.rule: each for each in soak_rows(study_chunk(family, 40, SEED, process_time))}

    assert 0 == rows["0.5 K"].false_fraction
    assert rows["0.5 K"].stop_time_constants < 1.9
    assert rows["1 %"].stop_time_constants < 2.2
    assert rows["0.5 K"].saved_fraction > 0.6


@pytest.mark.slow
def test_blind_cases_are_wrong_without_their_remedy() -> None:
    """A drift that nobody subtracts and a slow third term: the fit is sure, and wrong."""
    drift, hidden = (soak_rows(study_chunk(each, 20, SEED, process_time))[2] for each in (DRIFT_UNSEEN, HIDDEN))

    assert drift.false_fraction > 0.3
    assert hidden.false_fraction > 0.8


@pytest.mark.slow
def test_audit_lets_no_early_stop_through_when_it_hides_from_the_start() -> None:
    """The first unit is soaked out, disagrees, and revokes."""
    row = audit_row("hidden", 0, 6, SEED)

    assert (0, 1) == (row.early, row.revoked_at)


@pytest.mark.slow
def test_study_gives_the_same_for_the_same_seed() -> None:
    """A table can be made again, stop for stop."""
    first, second = (
        [(each.stop_s, each.error_k) for each in study_chunk(FAMILIES[1], 3, SEED, process_time)] for _ in range(2)
    )

    assert first == second


@pytest.mark.slow
def test_soak_table_command_prints_each_row_as_json() -> None:
    """Six kinds of curves with three rules each, and two audited lots."""
    said = CliRunner().invoke(bench, ["soak-table", "--curves", "2", "--json"], catch_exceptions=False)
    kinds = [json.loads(line)["kind"] for line in said.stdout.splitlines()]

    assert ["stops"] * 18 + ["audit"] * 2 == kinds
