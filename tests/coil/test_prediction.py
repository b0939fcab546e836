"""The one call, and what the package offers."""

from dataclasses import replace
from pathlib import Path

import pytest

import station.coil
from station.coil import predict
from tests.coil.references import two_by_35


def test_exported_names_are_these() -> None:
    """What other packages may lean on."""
    assert [
        "CoilGeometry",
        "Conductor",
        "FieldPoint",
        "GeometryError",
        "PolylineCoil",
        "Prediction",
        "TrackPoint",
        "predict",
        "read_polyline_csv",
        "uniform_gaps",
    ] == sorted(station.coil.__all__)


def test_prediction_states_everything_of_a_spiral() -> None:
    """2 x 35 turns: 1.98 m, 18.96 ohm, Q 0.0115 at 1 kHz."""
    seen = predict(two_by_35(), frequency_hz=1e3, heights_m=[1e-3, 3e-3])

    assert 1.98 == pytest.approx(seen.track_length_m, abs=0.005)
    assert 18.96 == pytest.approx(seen.resistance_20_ohm, abs=0.005)
    assert 0.011 == pytest.approx(seen.quality or 0.0, abs=1e-3)
    assert [1e-3, 3e-3] == [point.height_m for point in seen.field]
    assert seen.field[1].flux_density_t_per_a < seen.field[0].flux_density_t_per_a


def test_apparent_inductance_includes_the_layer_capacitance() -> None:
    """It rises towards resonance; the inductance itself does not."""
    low, high = predict(two_by_35(), frequency_hz=3e5), predict(two_by_35(), frequency_hz=2e6)

    assert low.inductance_h == pytest.approx(high.inductance_h, rel=1e-9)
    assert (low.apparent_inductance_h or 0.0) < (high.apparent_inductance_h or 0.0)


def test_four_layers_and_every_shape_are_predicted() -> None:
    """Nothing in the range is left out."""
    for shape in ("circle", "square", "hexagon", "octagon"):
        for layers in (1, 2, 3, 4):
            coil = replace(
                two_by_35(), shape=shape, layers=layers, turns_per_layer=3.5, layer_gaps_m=(82e-6,) * (layers - 1)
            )
            seen = predict(coil, heights_m=[1e-3])

            assert 0 < seen.inductance_h < 1e-5
            assert 0 < seen.field[0].flux_density_t_per_a


def test_bad_frequency_or_height_is_refused() -> None:
    """In words."""
    with pytest.raises(ValueError, match="frequency must be above 0 Hz"):
        predict(two_by_35(), frequency_hz=0.0)
    with pytest.raises(ValueError, match="height must be 0 or above"):
        predict(two_by_35(), heights_m=[-1e-3])


def test_example_of_the_documentation_runs() -> None:
    """The code of the coil model's page, as it stands there."""
    page = (Path(station.coil.__file__).parent / "README.md").read_text(encoding="utf-8")
    code = page.split("```python\n")[1].split("```")[0]
    names: dict[str, object] = {}

    exec(code, names)

    assert "seen" in names
