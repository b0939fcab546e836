"""What an operator at a terminal is told of a heating."""

from datetime import UTC, datetime

import pytest

from station.cli.telling import Teller
from station.core.events import Event, HeatingSample, NestCool, NestHot, NextAction

UNTIL = datetime(2026, 11, 25, 17, 52, 10, tzinfo=UTC)
DRIVEN = NestHot(touch_limit_degc=48.0, driven=True, cool_by_utc=UNTIL)
COOLING = NestHot(touch_limit_degc=48.0, driven=False, cool_by_utc=None, reads_degc=60.0)


def sample(time_s: float, foretold_k: float | None = None) -> HeatingSample:
    """A sample of a single level."""
    return HeatingSample(
        time_s=time_s, level=1, levels=1, drive=2.0, drive_unit="V", rise_k=time_s, wanted_k=0.5, soaked_out=False,
        level_left_s=120.0 - time_s, left_s=120.0 - time_s, foretold_rise_k=foretold_k,
        foretold_uncertainty_k=None if foretold_k is None else 0.5,
    )  # fmt: skip


def told(capsys: pytest.CaptureFixture[str], *events: Event) -> list[str]:
    """The lines that events give."""
    teller = Teller()
    for each in events:
        teller(each)
    return capsys.readouterr().err.splitlines()


def test_heating_is_told_every_ten_seconds_with_its_caution(capsys: pytest.CaptureFixture[str]) -> None:
    """The caution when the drive goes on and again when it goes off; each unit's curve from its beginning."""
    lines = told(
        capsys, DRIVEN, sample(0.0), DRIVEN, sample(5.0), sample(11.0, 29.0), COOLING, COOLING, NestCool(), DRIVEN,
        sample(0.0), NextAction(words=""),
    )  # fmt: skip
    cautions = [each for each in lines if "CAUTION" in each]

    assert 3 == len(cautions)
    assert "the coil is driven and gets hot. Do not touch it until the nest reads below 48 degC; at " in cautions[0]
    assert "  CAUTION: the coil is hot. Do not touch it until the nest reads below 48 degC." == cautions[1]
    assert [
        "    2 V: rise 0.0 K; at most 120 s left",
        "    2 V: rise 11.0 K, will settle at 29.0 ± 1.0 K; at most 109 s left",
        "  The nest is cool.",
        "    2 V: rise 0.0 K; at most 120 s left",
    ] == [each for each in lines if each not in cautions]
