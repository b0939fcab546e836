"""Bench files and reference units: from text and back."""

# One mistake a line reads better than one a page.
# ruff: noqa: E501

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.readings import Quantity
from station.core.accuracy import half_width
from station.core.bench_file import KINDS, QUANTITIES, format_bench, parse_bench
from station.core.equipment import Accuracy, Bench, FixtureSetup, InstrumentSetup
from station.core.reference_file import parse_reference_unit
from station.data import data_path
from station.errors import BenchError
from tests.core.examples import BENCH_TEXT

REFERENCES = sorted(data_path("reference_units").glob("*.toml"))


def mistakes(old: str, new: str) -> list[str]:
    """Every mistake of the example bench with one piece of text replaced."""
    text = BENCH_TEXT.replace(old, new, 1)
    with pytest.raises(BenchError) as caught:
        parse_bench(text, "b.toml")
    return [str(each) for each in caught.value.mistakes]


def test_example_bench_says_what_its_text_says() -> None:
    """The shipped bench: four instruments with identity and due date; not simulated."""
    bench = parse_bench(BENCH_TEXT, "example.toml")
    lcr = bench.instrument("lcr")

    assert KINDS == tuple(each.kind for each in bench.instruments)
    assert ("bench-1", False, 50.0, None) == (bench.name, bench.simulated, bench.mains_hz, bench.seed)
    assert all(each.identity and each.calibration_due for each in bench.instruments)
    assert lcr is not None
    assert date(2027, 9, 30) == lcr.calibration_due
    assert 4.5e-3 == pytest.approx(half_width(lcr.accuracies, "dc_resistance_ohm", 8.0)[0])
    wanted = FixtureSetup(height_half_width_m=50e-6, clean_at_cycles=20_000, replace_at_cycles=500_000)
    assert wanted == replace(bench.fixture, coil_thermometer="")
    assert "type K" in bench.fixture.coil_thermometer


def test_quantities_are_those_of_the_drivers() -> None:
    """What an accuracy can be stated for is what an instrument can be asked for."""
    assert {each.value for each in Quantity} == set(QUANTITIES)


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('name = "bench-1"', "", "name", "is missing"),
        ('mains = "50 Hz"', 'mains = "50 V"', "mains", "must be in Hz and not in V"),
        ('mains = "50 Hz"', 'mains = "16.7 Hz"', "mains", "must be from 40 Hz to 70 Hz"),
        ('mains = "50 Hz"', "clock_speed = 10", "clock_speed", "is for simulated benches only"),
        ('mains = "50 Hz"', "seed = 10", "seed", "is for simulated benches only"),
        ("stage = true", "stag = true", "fixture.stag", "did you mean 'stage'"),
        ("stage = true", 'stage = "yes"', "fixture.stage", "must be true or false; got 'yes'"),
        ('kind = "lcr"', 'kind = "lrc"', "instrument 1 kind", "did you mean 'lcr'"),
        ('kind = "source"', 'kind = "lcr"', "instrument 2 kind", "'lcr' is taken by instrument 'lcr-1'"),
        ('name = "source-1"', 'name = "lcr-1"', "instrument 2 name", "'lcr-1' is taken"),
        ("192.0.2.11", "192.0.2.10", "instrument 2 address", "is taken by instrument 'lcr-1'"),
        ("2027-09-30", '"soon"', "instrument 1 calibration_due", "a date without quotes"),
        ('timeout = "2 s"', 'timeout = "2 h"', "instrument 1 timeout", "from 10 ms to 60 s"),
        ('timeout = "2 s"', 'via = "usb"', "instrument 1 via", "one of 'auto', 'visa'"),
        ("baud = 115200", "baud = 12", "instrument 3 baud", "from 300 to 4000000"),
        ('"dc_resistance"', '"dc_resistence"', "instrument 1 accuracy 1 quantity", "did you mean 'dc_resistance'"),
        ('to = "2 A"', 'to = "2 V"', "instrument 2 accuracy 1 to", "must be in A and not in V"),
        ('to = "10 ohm"', 'to = "10 mohm"', "instrument 1 accuracy 1 to", "must not be below `from`"),
        ('full_scale = "10 ohm"', "", "instrument 1 accuracy 1 range", "needs `full_scale`"),
        ('resolution = "0.1 mA"', "", "instrument 2 accuracy 1 counts", "needs `resolution`"),
        ('reading = "0.5 %"', "", "instrument 3 accuracy 1", "no instrument is exact"),
        ('frequency_to = "300 kHz"', 'frequency_to = "3 kHz"', "instrument 1 accuracy 3 frequency_to", "must not be below"),
        ('per_kelvin = "0.005 %"', 'shape = "round"', "instrument 1 accuracy 1 shape", "one of 'normal', 'rectangular'"),
    ],
)  # fmt: skip
def test_each_mistake_has_key_and_remedy(old: str, new: str, key: str, words: str) -> None:
    """One slip, one mistake that points at it."""
    found = mistakes(old, new)

    assert any(f": {key}: " in each and words in each for each in found), found
    assert 1 == len(found), found


def test_all_mistakes_are_told_at_once() -> None:
    """A misspelt kind doesn't hide a misspelt accuracy."""
    text = BENCH_TEXT.replace('kind = "lcr"', 'kind = "lrc"').replace('"flux_density"', '"flux"')
    with pytest.raises(BenchError) as caught:
        parse_bench(text, "b.toml")

    assert ["instrument 1 kind", "instrument 3 accuracy 1 quantity"] == [e.key for e in caught.value.mistakes]


@pytest.mark.parametrize(
    "text", ["", "name = ", "instrument = 3", "[instrument]\nname = 'x'", "instrument = [3]"]
)
def test_text_that_is_no_bench_is_refused(text: str) -> None:
    """Nothing but a BenchError comes of any text."""
    with pytest.raises(BenchError):
        parse_bench(text, "b.toml")


words = st.text(st.characters(exclude_categories=("C", "Z"), max_codepoint=0x2FFF), min_size=1, max_size=12)
size = st.floats(0.0, 1e6)
fraction = st.floats(0.0, 1.0)


@st.composite
def accuracies(draw: st.DrawFn) -> Accuracy:
    """Any line of a data sheet."""
    quantity = draw(st.sampled_from(sorted(QUANTITIES)))
    ends = sorted(draw(st.tuples(size, size)))
    band = draw(st.none() | st.tuples(size, size).map(sorted))
    return Accuracy(
        quantity=quantity,
        lower=-ends[0] / 1e4 if quantity.endswith("_degc") else ends[0],
        upper=ends[1],
        reading_fraction=draw(st.floats(1e-6, 1.0)),
        range_fraction=draw(fraction),
        full_scale=draw(st.floats(1e-6, 1e6)),
        counts=draw(st.floats(0.0, 100.0)),
        resolution=draw(st.floats(1e-9, 1.0)),
        frequency_lower_hz=band[0] if band else None,
        frequency_upper_hz=band[1] if band else None,
        temperature_per_k=draw(st.floats(0.0, 0.1)),
        shape=draw(st.sampled_from(["normal", "rectangular"])),
    )


@st.composite
def benches(draw: st.DrawFn) -> Bench:
    """Any bench that a file can state."""
    simulated = draw(st.booleans())
    kinds = draw(st.lists(st.sampled_from(KINDS), min_size=1, unique=True))
    instruments = tuple(
        InstrumentSetup(
            name=f"{draw(words)}-{kind}",
            kind=kind,
            address=f"{draw(words)}-{kind}",
            dialect=draw(words),
            via=draw(st.sampled_from(["auto", "visa"])),
            identity=draw(st.just("") | words),
            calibration_due=draw(st.none() | st.dates()),
            timeout_s=draw(st.floats(0.01, 60.0)),
            baud=draw(st.integers(300, 4_000_000)),
            accuracies=tuple(draw(st.lists(accuracies(), max_size=2))),
        )
        for kind in kinds
    )
    fixture = FixtureSetup(
        *draw(st.tuples(st.booleans(), st.booleans(), st.booleans(), st.booleans())),
        height_half_width_m=draw(st.floats(0.0, 0.01)),
        lateral_half_width_m=draw(st.floats(0.0, 0.01)),
        contact_half_width_ohm=draw(st.floats(0.0, 10.0)),
        coil_temperature_half_width_k=draw(st.floats(0.0, 20.0)),
        coil_thermometer=draw(st.sampled_from(["", "spot, emissivity 0.95, 2 mm", 'type "K", taped'])),
    )
    return Bench(
        name=draw(words),
        nest=draw(words),
        simulated=simulated,
        instruments=instruments,
        fixture=fixture,
        mains_hz=draw(st.floats(40.0, 70.0)),
        operator_address=draw(st.just("") | words) if simulated else "",
        seed=draw(st.none() | st.integers(0, 2**63 - 1)) if simulated else None,
        clock_speed=draw(st.floats(0.01, 10_000.0)) if simulated else 1.0,
    )


@pytest.mark.slow
@given(benches())
def test_a_written_bench_is_read_back_whole(bench: Bench) -> None:
    """Every field, to the last digit."""
    back = parse_bench(format_bench(bench), "b.toml")

    assert bench == replace(back, source_text="")


@pytest.mark.parametrize("path", REFERENCES, ids=[each.stem for each in REFERENCES])
def test_shipped_reference_units_can_be_read(path: object) -> None:
    """Good units of IS-20 with certified values, and units that say what they fail."""
    unit = parse_reference_unit(
        data_path(f"reference_units/{getattr(path, 'name', '')}").read_text(), "r.toml"
    )

    assert ("IS-20", True) == (unit.part, unit.serial.startswith("L2600-"))
    assert all(0.0 < each.expanded_uncertainty < 0.03 * each.value for each in unit.values)
    assert (unit.kind == "good") == (not unit.fails)
    if unit.kind == "good":
        assert ["R20", "L"] == [each.characteristic for each in unit.values][:2]
        assert all(each.origin.startswith("certified by") for each in unit.values)


def reference_mistakes(old: str, new: str) -> list[str]:
    """Every mistake of the first shipped reference unit with all pieces of one kind replaced."""
    with pytest.raises(BenchError) as caught:
        parse_reference_unit(REFERENCES[0].read_text().replace(old, new), "r.toml")
    return [str(each) for each in caught.value.mistakes]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('kind = "good"', 'kind = "god"', "did you mean 'good'"),
        ("[assigned.L]", "[assigned.Z]", "is no characteristic"),
        ('value = "8.9027 ohm"', 'value = "8.9027 H"', "must be in ohm and not in H"),
        ('expanded_uncertainty = "9 mohm"', 'expanded_uncertainty = "0 ohm"', "must be"),
        ("assigned_on = 2026-09-01", "", "must be a date without quotes"),
        ("assigned_by", "assigned_bye", "did you mean 'assigned_by'"),
    ],
)
def test_each_mistake_of_a_reference_unit_is_told(old: str, new: str, words: str) -> None:
    """Line, key, and what would be right."""
    assert any(words in each for each in reference_mistakes(old, new))


def test_a_good_reference_unit_needs_values_and_a_defective_one_does_not() -> None:
    """A good one without values proves nothing; one that must fail needs none."""
    head = 'serial = "X"\npart = "IS-20"\nkind = '
    with pytest.raises(BenchError, match="assigned"):
        parse_reference_unit(head + '"good"\n', "r.toml")
    with pytest.raises(BenchError, match="one value at least"):
        parse_reference_unit(head + '"good"\n[assigned]\n', "r.toml")

    assert () == parse_reference_unit(head + '"open"\n', "r.toml").values
