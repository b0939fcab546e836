"""Heating right after the field: what the field's drive has warmed is not taken as cold."""

from pathlib import Path

import pytest

from station.core.plan_file import parse_plan
from station.core.results import Decision
from station.data import data_path
from tests.methods.oven import coil, oven, safe, steady_rise_k, value


@pytest.mark.slow
def test_coil_that_the_field_has_warmed_is_let_cool_before_its_cold_look(tmp_path: Path) -> None:
    """Taken as cold at once, every rise would be 1.3 K too small, four times its stated uncertainty."""
    text = data_path("nightly/plans/ladder.toml").read_text(encoding="utf-8")
    with oven(tmp_path, [coil(8.0), coil(7.6)], plan=parse_plan(text, "ladder.toml")) as opened:
        records = [opened.measure(index) for index in (0, 1)]
        off = [
            (name, got, steady_rise_k(opened, opened.units[index], voltage_v))
            for index, record in enumerate(records)
            for name, voltage_v in (("rise@1V", 1.0), ("rise@1.5V", 1.5), ("rise@2V", 2.0))
            for got in [value(record, name)]
            if abs(got[0] - steady_rise_k(opened, opened.units[index], voltage_v)) > 1.5 * got[1]
        ]

        assert ([], [Decision.PASS] * 2) == (off, [each.decision for each in records])
        assert safe(opened)
