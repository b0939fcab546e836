"""Control plans from text."""

# One mistake a line reads better than one a page.
# ruff: noqa: E501

import hashlib
import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.bins import takes_unit
from station.core.plan import (
    BinFor,
    ContactStep,
    FieldStep,
    Frequency,
    FrequencyKind,
    Guard,
    HeatingStep,
    InductanceStep,
    ResistanceStep,
)
from station.core.plan_edit import limit_texts
from station.core.plan_file import parse_plan
from station.core.results import Result, ResultStatus
from station.errors import PlanError
from tests.core.examples import IS_20_TEXT, changed, is_20

HEATING = """
[[measure]]
method = "heating"
frequency = "1 in 25"
drive = ["1 V", "2 V", "3 V"]

[characteristic."rise@3V"]
upper = "45 K"
guard = "0.5 U95"
"""


def mistakes(text: str) -> list[str]:
    """Every mistake of a plan, as it is shown."""
    with pytest.raises(PlanError) as caught:
        parse_plan(text, "p.toml")
    return [str(each) for each in caught.value.mistakes]


def line_of(text: str, piece: str) -> int:
    """The line on which a piece of text begins."""
    return text[: text.index(piece)].count("\n") + 1


def test_example_plan_says_what_its_text_says() -> None:
    """The shipped plan, value for value, in SI."""
    plan = is_20()
    contact, resistance, inductance, field = plan.steps

    assert ("IS-20", "Iris shutter coil", 234.5, 3, 0.01) == (
        plan.part,
        plan.title,
        plan.winding_constant_k,
        plan.invalid_runs_before_held,
        plan.retest_agreement_fraction,
    )
    assert (2, 20.0, 3e-3, 0.12e-3, 0.12e-3, 18e-6, 50e-6) == (
        plan.coil.layers,
        plan.coil.turns_per_layer,
        plan.coil.inner_diameter_m,
        plan.coil.track_width_m,
        plan.coil.track_gap_m,
        plan.coil.copper_m,
        plan.coil.layer_gap_m,
    )
    assert ContactStep("contact", Frequency(), limit_ohm=1.0, open_is_fail=True) == contact
    assert isinstance(resistance, ResistanceStep)
    assert 2e-4 == resistance.still_fraction
    assert isinstance(inductance, InductanceStep)
    assert (100e3, "") == (inductance.test_frequency_hz, inductance.suffix)
    assert isinstance(field, FieldStep)
    assert ((1e-3, 2e-3, 4e-3, 8e-3), 0.1) == (field.heights_m, field.drive_a)
    assert ["R20", "L", "B@1mm", "B@2mm", "B@4mm", "B@8mm"] == [each.name for each in plan.characteristics]
    assert [1, 2, 3, 90, 99] == [each.number for each in plan.bins]


def test_plan_keeps_its_text_and_hash() -> None:
    """What is released is the text; the hash is that of its bytes in UTF-8."""
    plan = is_20()

    assert IS_20_TEXT == plan.source_text
    assert hashlib.sha256(IS_20_TEXT.encode()).hexdigest() == plan.text_hash


def test_plan_with_heating() -> None:
    """A ladder of drives in volts; what is not limited needs no table."""
    plan = parse_plan(IS_20_TEXT.replace("# Limits. The guard", HEATING + "# Limits. The guard"), "p.toml")
    heating = plan.steps[-1]
    rise = plan.characteristic("rise@3V")

    assert HeatingStep("heating", Frequency(FrequencyKind.ONE_IN, 25), drives=(1.0, 2.0, 3.0)) == heating
    assert rise is not None
    assert (None, 45.0, Guard(0.5), "K") == (rise.lower, rise.upper, rise.guard, rise.unit_symbol)


def test_heating_by_current() -> None:
    """The first drive's unit holds for the ladder, and names the characteristics."""
    text = IS_20_TEXT + '\n[[measure]]\nmethod = "heating"\ndrive = ["100 mA", "0.2 A"]\n'
    heating = parse_plan(text, "p.toml").steps[-1]

    assert isinstance(heating, HeatingStep)
    assert ((0.1, 0.2), "current_a") == (heating.drives, heating.drive_quantity)


def test_second_inductance_step_has_names_of_its_own() -> None:
    """L at another frequency is another characteristic."""
    second = '[[measure]]\nmethod = "inductance"\ntest_frequency = "300 kHz"\n\n'
    limit = '\n[characteristic."L@300kHz"]\nupper = "12 uH"\n'
    field = '[[measure]]\nmethod = "field"'
    plan = parse_plan(IS_20_TEXT.replace(field, second + field) + limit, "p.toml")

    assert plan.characteristic("L@300kHz") is not None


@pytest.mark.parametrize(
    ("words", "guard"),
    [
        ("specific risk 2.5 %", Guard(0.0, specific_risk=0.025)),
        (
            "global risk 0.1 %, mean 7.9 ohm, standard deviation 300 mohm",
            Guard(0.0, global_risk=0.001, process_mean=7.9, process_deviation=0.3),
        ),
    ],
)
def test_guard_by_a_largest_risk(words: str, guard: Guard) -> None:
    """Specific, of one unit; global, with the process that it holds for."""
    plan = parse_plan(changed(('guard = "U95"', f'guard = "{words}"')), "p.toml")

    assert guard == plan.characteristics[0].guard
    assert words == limit_texts(plan.characteristics[0]).guard


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("specific risk 60 %", "must be from 0.0001 % to 50 %"),
        ("specific risk 0 %", "must be from 0.0001 % to 50 %"),
        ("specific risk 2.5", "states a risk that needs its unit"),
        ("risk 2.5 %", "must be 'U95', a multiple"),
        ("global risk 0.1 %", "must be 'U95', a multiple"),
        ("global risk 0.1 %, mean 7.9, standard deviation 0.3 ohm", "states a mean of the process that needs its unit"),
        ("global risk 0.1 %, mean 7.9 uH, standard deviation 0.3 ohm", "states a mean of the process that must be in ohm"),
        ("global risk 0.1 %, mean 7.9 ohm, standard deviation 0 ohm", "needs a standard deviation above 0"),
        ("global risk 0.1 %, mean 79 ohm, standard deviation 0.3 ohm", "whose mean, 79 ohm, is not within the limits"),
    ],
)
def test_wrong_guard_by_risk_is_told(words: str, message: str) -> None:
    """Each by file, line and key, with what would be right."""
    with pytest.raises(PlanError) as raised:
        parse_plan(changed(('guard = "U95"', f'guard = "{words}"')), "p.toml")

    assert "characteristic.R20.guard" in str(raised.value)
    assert message in str(raised.value)


@pytest.mark.parametrize(
    ("words", "factor"), [("U95", 1.0), ("0.5 U95", 0.5), ("none", 0.0), ("1.5U95", 1.5)]
)
def test_guard_in_words(words: str, factor: float) -> None:
    """The guard band as a multiple of the expanded uncertainty."""
    plan = parse_plan(changed(('guard = "U95"', f'guard = "{words}"')), "p.toml")

    assert Guard(factor) == plan.characteristics[0].guard


def test_guard_left_out_is_the_whole_uncertainty() -> None:
    """Caution is the default."""
    plan = is_20()

    assert Guard(1.0) == plan.characteristics[2].guard


def test_bins_left_out_are_made() -> None:
    """A plan without bins has pass, reject and hold."""
    plan = parse_plan(IS_20_TEXT[: IS_20_TEXT.index("[[bin]]")], "p.toml")

    assert [(1, BinFor.PASS), (90, BinFor.FAIL), (99, BinFor.HOLD)] == [
        (each.number, each.takes) for each in plan.bins
    ]


def test_bins_left_out_take_free_numbers() -> None:
    """A number that the file uses is not given twice."""
    text = IS_20_TEXT[: IS_20_TEXT.index("[[bin]]")] + '[[bin]]\nnumber = 99\nname = "good"\n'

    assert [99, 90, 100] == [each.number for each in parse_plan(text, "p.toml").bins]


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('part = "IS-20"', 'prat = "IS-20"', "prat", "is not known here; did you mean 'part'?"),
        ('part = "IS-20"', 'part = ""', "part", "must not be empty"),
        ('part = "IS-20"', "part = 20", "part", "must be a text in quotes; got 20"),
        ("turns_per_layer = 20", 'turns_per_layer = "20"', "coil.turns_per_layer", "must be a number from 0.25"),
        ("layers = 2", "layers = 2.5", "coil.layers", "must be a whole number"),
        ("layers = 2", "layers = true", "coil.layers", "must be a whole number"),
        ("layers = 2", "layers = 1", "coil.layer_gap", "must be left out for one layer"),
        ('layer_gap = "50 um"', "", "coil.layer_gap", "is missing"),
        ('shape = "circle"', 'shape = "cirle"', "coil.shape", "did you mean 'circle'"),
        ('shape = "circle"', 'shape = "polygon"', "coil.sides", "a polygon needs a number of sides"),
        ('shape = "circle"', 'shape = "circle"\nsides = 6', "coil.sides", "for the shape 'polygon' only"),
        ("turns_per_layer = 20", "turns_per_layer = 0.1", "coil.turns_per_layer", "must be a number from 0.25 to 1000; got 0.1"),
        ("turns_per_layer = 20", "turns_per_layer = nan", "coil.turns_per_layer", "must be a number from 0.25 to 1000; got nan"),
        ('part = "IS-20"', f'part = "{"I" * 41}"', "part", "at most 40 characters; has 41"),
        ('part = "IS-20"', 'part = "IS\\n20"', "part", "plain text on one line"),
        ("[6.8 ohm, 7.6 ohm)", "", "bin 1 needs.R20", "must not be empty"),
        ("turns_per_layer = 20", "turns_per_layer = 1000\nlead_resistance = \"-1 ohm\"", "coil.lead_resistance", "from 0 ohm to 1 kohm"),
        ('track_width = "0.12 mm"', 'track_width = "15 mm"', "coil", "at most 0.5 m"),
        ('method = "contact"', 'method = "contakt"', "measure 1 method", "did you mean 'contact'"),
        ('limit = "1 ohm"', 'limt = "1 ohm"', "measure 1 limt", "did you mean 'limit'"),
        ('method = "inductance"', 'method = "inductance"\nfrequency = "100 kHz"', "measure 3 frequency", "is the key `test_frequency`"),
        ('method = "contact"', 'method = "contact"\nfrequency = "1 in 5"', "measure 1 frequency", "on every unit"),
        ('"8 mm"]', '"8 kg"]', "measure 4 heights 4", "unknown unit 'kg'"),
        ('"8 mm"]', "8]", "measure 4 heights 4", "must be a text with number and unit; got 8"),
        ('"8 mm"]', '"4.0 mm"]', "measure 4", "gives B@4mm twice"),
        ('heights = ["1 mm", "2 mm", "4 mm", "8 mm"]', "heights = []", "measure 4 heights", "at least one height"),
        ('voltage_limit = "5 V"', 'voltage_limit = "0.5 V"', "measure 4 drive", "needs 920 mV at 9.200 ohm (the upper limit of R20)"),
        ('upper = "9.2 ohm"', 'upper = "6.7 ohm"', "characteristic.R20.upper", "must be above lower (6.8 ohm); got 6.7 ohm"),
        ('upper = "9.2 ohm"', 'upper = "9.2 V"', "characteristic.R20.upper", "must be in ohm and not in V"),
        ('upper = "9.2 ohm"', "upper = 9.2", "characteristic.R20.upper", "must be a text with number and unit; got 9.2"),
        ('guard = "U95"', 'guard = "U99"', "characteristic.R20.guard", "must be 'U95', a multiple"),
        ('guard = "U95"', 'guard = "-1 U95"', "characteristic.R20.guard", "must be 'U95'"),
        ("[characteristic.L]", "[characteristic.LL]", "characteristic.LL", "no method of this plan gives it; did you mean 'L'"),
        ('[characteristic."B@8mm"]', '[characteristic."B@9mm"]', "characteristic.B@9mm", "no method of this plan gives it"),
        ("number = 2", "number = 1", "bin 2 number", "1 is taken"),
        ('name = "mid R"', 'name = "low R"', "bin 2 name", "'low R' is taken"),
        ('takes = "FAIL"', 'takes = "FALE"', "bin 4 takes", "must be one of 'PASS', 'FAIL', 'HOLD'"),
        ("[6.8 ohm, 7.6 ohm)", "6.8 to 7.6 ohm", "bin 1 needs.R20", "must be an interval"),
        ("[6.8 ohm, 7.6 ohm)", "not due", "bin 1 needs.R20", "is due for every unit"),
        ('{ R20 = "[6.8', '{ Rs = "[6.8', "bin 1 needs.Rs", "has no limits in this plan"),
        ("[7.6 ohm, 8.4 ohm)", "[7.7 ohm, 8.4 ohm)", "bin", "R20 in [7.6 ohm, 7.7 ohm)"),
        ("(?P<lot>", "(?P<lotte>", "serial", "must name the lot"),
        ("part =", "check_digit = 'luhm'\npart =", "check_digit", "did you mean 'luhn'"),
        ("part =", "serial_length = 500\npart =", "serial_length", "from 1 to 128"),
        ('retest_agreement = "1 %"', 'retest_agreement = "80 %"', "retest_agreement", "from 0 % to 50 %; got '80 %'"),
    ],
)  # fmt: skip
def test_each_mistake_has_file_line_key_and_remedy(old: str, new: str, key: str, words: str) -> None:
    """One slip, one mistake that points at it."""
    found = mistakes(changed((old, new)))

    assert any(f": {key}: " in each and words in each for each in found), found
    assert len(found) <= 2, found
    assert all(each.startswith("p.toml:") for each in found)


def test_all_mistakes_are_told_at_once_in_order_of_line() -> None:
    """Five slips in one file are five mistakes, none hidden by another."""
    text = changed(
        ("layers = 2", "layer = 2"),
        ('method = "inductance"', 'method = "inductanse"'),
        ('"8 mm"]', '"8 kg"]'),
        ('upper = "9.2 ohm"', 'upper = "6.2 ohm"'),
    )
    expected = [
        (line_of(text, "[coil]"), "coil.layers"),
        (line_of(text, "layer = 2"), "coil.layer"),
        (line_of(text, 'method = "inductanse"'), "measure 3 method"),
        (line_of(text, "heights ="), "measure 4 heights 4"),
        (line_of(text, 'upper = "6.2 ohm"'), "characteristic.R20.upper"),
    ]
    with pytest.raises(PlanError) as caught:
        parse_plan(text, "p.toml")

    assert expected == [(each.line, each.key) for each in caught.value.mistakes]


def test_contact_must_come_first() -> None:
    """Without it an open coil and a bad seat look the same."""
    start, end = (IS_20_TEXT.index(f'[[measure]]\nmethod = "{each}"') for each in ("contact", "resistance"))

    assert "the first method must be 'contact'" in mistakes(IS_20_TEXT[:start] + IS_20_TEXT[end:])[0]


def test_methods_must_stand_in_order() -> None:
    """What warms the coil comes after what must be cold."""
    late = '[[measure]]\nmethod = "resistance"\n'
    found = mistakes(IS_20_TEXT + late)

    assert any("'resistance' must come before 'field'" in each for each in found)
    assert any("measure 5: gives R20 again; measure 2 gives it" in each for each in found)
    assert any(
        "must stand once" in each for each in mistakes(IS_20_TEXT + late.replace("resistance", "contact"))
    )


def test_heating_needs_the_cold_resistance() -> None:
    """A rise is reckoned from R at ambient."""
    text = (
        'part = "X"\nserial = "(?P<lot>L)"\n'
        + IS_20_TEXT[IS_20_TEXT.index("[coil]") : IS_20_TEXT.index("# Methods run")]
        + '[[measure]]\nmethod = "contact"\n'
        + HEATING
    )

    assert any("heating needs 'resistance'" in each for each in mistakes(text))
    assert any("must climb" in each for each in mistakes(text.replace('"1 V", "2 V"', '"2 V", "1 V"')))
    assert any("at least one drive" in each for each in mistakes(text.replace('"1 V", "2 V", "3 V"', "")))


def test_a_method_due_by_panel_needs_the_panel() -> None:
    """A serial that names no panel can't tell the first two of each."""
    text = changed(
        ('method = "field"', 'method = "field"\nfrequency = "first 2 of each panel"'),
        ("(?P<panel>[0-9]{2})", "[0-9]{2}"),
    )

    assert any("must name the panel" in each for each in mistakes(text))


def test_limits_must_be_stated() -> None:
    """A characteristic without limits, or a plan without characteristics, judges nothing."""
    text = changed(('lower = "6.8 ohm"\nupper = "9.2 ohm"', ""))
    start, end = IS_20_TEXT.index("[characteristic.R20]"), IS_20_TEXT.index("# Bins. The")
    bare = IS_20_TEXT[:start] + "[characteristic]\n"

    assert any("must have `lower` or `upper`" in each for each in mistakes(text))
    assert any("must state limits" in each for each in mistakes(bare))
    assert end > start


@pytest.mark.parametrize(
    "text", ["part = ", "[coil\n", "a = 1\na = 2\n", "x = " + "9" * 5000, "x = " + "[" * 3000, "a\x00b"]
)
def test_text_that_is_no_toml_is_one_mistake(text: str) -> None:
    """Syntax comes first and points at its line; nothing breaks."""
    found = mistakes(text)

    assert 1 == len(found)
    assert "is no valid TOML" in found[0]


@pytest.mark.parametrize(("old", "new"), [("", "\ufeff"), ("\n", "\r\n")])
def test_files_of_other_editors_are_read(old: str, new: str) -> None:
    """A byte order mark or Windows line ends change nothing, and lines are still right."""
    text = IS_20_TEXT.replace(old, new) if old else new + IS_20_TEXT

    assert is_20().steps == parse_plan(text, "p.toml").steps
    assert mistakes(text.replace("layers = 2", "layers = 0"))[0].startswith(
        f"p.toml:{line_of(text, 'layers =')}:"
    )


def test_a_huge_file_is_refused() -> None:
    """A plan is a page or two."""
    assert "at most 1000000 characters" in mistakes("#" * 1_000_001)[0]


def test_an_empty_file_misses_the_tables_once() -> None:
    """What is missing is told once for each, not for all that would be in it."""
    assert ["part", "serial", "coil", "measure", "characteristic"] == [
        each.split(": ")[1] for each in mistakes("")
    ]


pieces = st.sampled_from(
    [
        "part",
        "=",
        '"',
        "[",
        "]",
        "[[measure]]",
        "\n",
        "{",
        "}",
        "method",
        "'",
        "6.8 ohm",
        "#",
        ".",
        ",",
        "1",
        "bin",
        "needs",
    ]
)


@given(
    at=st.integers(0, len(IS_20_TEXT)), cut=st.integers(0, 60), put=st.lists(pieces, max_size=4).map("".join)
)
def test_any_damage_is_told_or_harmless(at: int, cut: int, put: str) -> None:
    """A plan with any piece cut out or put in is read, or refused with mistakes that have a line each."""
    text = IS_20_TEXT[:at] + put + IS_20_TEXT[at + cut :]
    try:
        lines = [1] if parse_plan(text, "p.toml").steps[0].method == "contact" else []
    except PlanError as error:
        lines = [each.line for each in error.mistakes]

    assert lines
    assert all(1 <= line <= text.count("\n") + 2 for line in lines)


@pytest.mark.slow
@given(
    cut=st.lists(st.integers(681, 919), min_size=1, max_size=4, unique=True).map(sorted),
    closed=st.lists(st.booleans(), min_size=5, max_size=5),
    value=st.integers(680, 920),
)
def test_any_accepted_plan_sorts_each_passing_unit_into_one_bin(
    cut: list[int], closed: list[bool], value: int
) -> None:
    """Any split of the limits with matching brackets is accepted; each value has exactly one pass bin."""
    ends = [680, *cut, 920]
    bins = ""
    for index, (low, high) in enumerate(pairwise(ends)):
        opening = "[" if index == 0 or not closed[index] else "("
        closing = "]" if high == 920 or closed[index + 1] else ")"
        needs = f'"{opening}{low * 10} mohm, {high / 100} ohm{closing}"'
        bins += f'[[bin]]\nnumber = {index + 1}\nname = "{index}"\nneeds = {{ R20 = {needs} }}\n'
    plan = parse_plan(IS_20_TEXT[: IS_20_TEXT.index("[[bin]]")] + bins, "p.toml")
    results = {"R20": Result("R20", "ohm", ResultStatus.MEASURED, value / 100)}

    assert 1 == sum(takes_unit(each, results) for each in plan.bins if each.takes is BinFor.PASS)


def test_plan_values_are_finite() -> None:
    """No stand-in for a wrong value is left in a plan that was accepted."""
    plan = is_20()

    assert all(math.isfinite(end) for each in plan.characteristics for end in (each.lower, each.upper) if end)


STEP = '\n[[measure]]\nmethod = "heating"\ndrive = ["1 V", "2 V"]\n'


@pytest.mark.parametrize(
    ("text", "expected"),
    [('target = "0.2 K"', (0.2, 0.0)), ('target = "1 %"', (0.0, 0.01)), ("", (0.5, 0.0))],
)
def test_heating_target_is_in_kelvin_or_a_fraction(text: str, expected: tuple[float, float]) -> None:
    """Its unit says which; half a kelvin if nothing is said."""
    heating = parse_plan(IS_20_TEXT + STEP + text, "p.toml").steps[-1]

    assert isinstance(heating, HeatingStep)
    assert expected == (heating.target_k, heating.target_fraction)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('target = "0.2 V"', "must be in % and not in V"),
        ('target = "50 K"', "must be from 0.01 K to 20 K"),
        ('voltage_limit = "1.5 V"', "climbs to 2 V, above `voltage_limit` 1.5"),
        ('temperature_limit = "40 degC"\nambient = "40 degC"', "must be above `ambient`"),
        ('soak = "60 s"', "must be at least three times `longest_time_constant`"),
        ("audit_one_in = 0", "must be a whole number from 1 to 1000"),
        ('touch_limit = "90 degC"', "must be from 35 degC to 65 degC"),
    ],
)
def test_heating_that_cannot_be_is_refused(text: str, words: str) -> None:
    """Each mistake is told with what would be right."""

    assert any(words in each for each in mistakes(IS_20_TEXT + STEP + text))


def test_heating_names_what_it_gives() -> None:
    """Limits can stand on rise, surface, thermal resistance with its mounting, time constant, largest drive."""
    limits = "".join(
        f'\n[characteristic."{name}"]\nupper = "{upper}"\n'
        for name, upper in (
            ("surface@2V", "40 K"),
            ("Rth@metal", "9 K/W"),
            ("tau", "20 s"),
            ("drive@80degC", "3 V"),
        )
    )
    plan = parse_plan(IS_20_TEXT + STEP + 'mounting = "metal"\n' + limits, "p.toml")

    assert [40.0, 9.0, 20.0, 3.0] == [each.upper for each in plan.characteristics[-4:]]
