"""What the run of a reference unit shows, and what a set of reference units lacks."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.limits import judge
from station.core.plan_file import parse_plan
from station.core.reasons import reason
from station.core.reference_check import (
    check_failures,
    check_reference,
    compare,
    for_plan,
    methods_for,
    missing_references,
    worn_references,
)
from station.core.results import Decision, Judgement, Reason, Result, ResultStatus
from station.core.run_record import Purpose, RunOpened, RunRecord, UnitId
from station.core.verification import AssignedValue, ReferenceUnit
from tests.core.examples import IS_20_TEXT

PLAN = parse_plan(IS_20_TEXT, "IS-20.toml")
NAMES = tuple(each.name for each in PLAN.characteristics)
NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
TODAY = NOW.date()
UNITS = {"R20": "ohm", "L": "H"}
GOOD = {"R20": 7.05, "L": 11.65e-6, "B@1mm": 6.07e-3, "B@2mm": 4.21e-3, "B@4mm": 1.96e-3, "B@8mm": 0.54e-3}


def assigned(name: str, value: float, *, until: date | None = None, certificate: str = "") -> AssignedValue:
    """An assigned value with an expanded uncertainty of 0.1 %."""
    unit = UNITS.get(name, "T/A")
    return AssignedValue(name, unit, value, 1e-3 * value, "2026-09-01", "bench-9", certificate, until)


def good(serial: str, r20_ohm: float = 7.05) -> ReferenceUnit:
    """A good reference unit with a value of each characteristic."""
    values = GOOD | {"R20": r20_ohm}
    return ReferenceUnit(serial, "IS-20", "good", tuple(assigned(*each) for each in values.items()))


def defect(kind: str, **fails: str) -> ReferenceUnit:
    """A known-defect reference unit."""
    return ReferenceUnit("B01", "IS-20", kind, (), tuple(fails.items()))


LOW, HIGH, BROKEN = good("A01"), good("A02", 8.9), defect("open", R20="open")


def result(name: str, value: float | None, why: Reason | None = None) -> Result:
    """A result with an expanded uncertainty of 0.1 %; without a value, not measured."""
    if value is None:
        return Result(name, UNITS.get(name, "T/A"), ResultStatus.NOT_MEASURED, reason=why)
    return Result(
        name, UNITS.get(name, "T/A"), ResultStatus.MEASURED, value, 5e-4 * value, 1e9, 1e-3 * abs(value)
    )


def run_of(
    values: dict[str, float], *, why: Reason | None = None, judgements: tuple[Judgement, ...] | None = None
) -> RunRecord:
    """A verification run that found `values`; INVALID, as each such run is."""
    results = tuple(result(name, values.get(name), why) for name in NAMES)
    if judgements is None:
        judgements = tuple(judge(each, found) for each, found in zip(PLAN.characteristics, results, strict=True))
    opened = RunOpened(
        "run-1", UnitId("B01", "reference"), "IS-20", "", "bench-1", "A", "OP", Purpose.VERIFICATION, True, NOW, "0"
    )
    return RunRecord(
        opened, NOW, results, judgements, Decision.INVALID, why, 99, "hold", False, (), (), (), True, ""
    )


def test_value_agrees_up_to_both_uncertainties_together() -> None:
    """E_n of 1 is the end (ISO 13528:2015, 9.7): sqrt(U^2 + U_ref^2) is 0.1 % x sqrt 2 here, 14 mohm of 10 ohm."""
    reference = replace(LOW, values=(assigned("R20", 10.0),))
    near = compare(reference, [replace(result("R20", 10.0141), expanded_uncertainty=0.01)])[0]
    far = compare(reference, [replace(result("R20", 10.0143), expanded_uncertainty=0.01)])[0]

    assert (True, False) == (near.agrees, far.agrees)
    assert "10.0143, assigned 10 (E_n +1.01)" == far.words


@given(value=st.floats(1.0, 20.0), shift=st.floats(0.0, 1.0), more=st.floats(1.0, 10.0))
def test_further_away_never_agrees_better(value: float, shift: float, more: float) -> None:
    """Agreement is monotone in the distance, on both sides."""
    reference = replace(LOW, values=(assigned("R20", value),))

    def agrees(at: float) -> bool:
        return compare(reference, [replace(result("R20", at), expanded_uncertainty=0.01)])[0].agrees

    for sign in (1.0, -1.0):
        assert agrees(value + sign * shift) or not agrees(value + sign * shift * more)


@pytest.mark.parametrize("value", [None, float("nan")])
def test_value_that_is_none_does_not_agree(value: float | None) -> None:
    """Neither what was not measured nor what is not a number agrees with anything."""
    found = compare(LOW, [result("R20", value, reason("no_reply"))])

    assert not any(each.agrees for each in found)


def test_missing_result_does_not_agree() -> None:
    """An assigned value without any result is wrong, not left out."""
    found = compare(LOW, [])

    assert (6, {"not measured"}) == (len(found), {each.words for each in found})


def test_field_gain_beyond_what_heights_allow_is_wrong() -> None:
    """A sensor that reads 2 % high is named as such, beside each height."""
    values = {name: value * (1.02 if name.startswith("B@") else 1.0) for name, value in GOOD.items()}
    found = {each.characteristic: each for each in check_reference(LOW, run_of(values), PLAN)}

    assert (True, False, False) == tuple(found[name].agrees for name in ("R20", "B@2mm", "field gain"))
    assert 1.02 == pytest.approx(found["field gain"].value or 0.0, rel=1e-12)


def test_shorted_turn_that_fails_l_is_right() -> None:
    """It must fail below L's lower limit and nowhere else."""
    (found,) = check_failures(defect("shorted_turn", L="below"), run_of(GOOD | {"L": 10.99e-6}))

    assert (True, "L", 10.99e-6) == (found.agrees, found.characteristic, found.value)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (GOOD, "must fail below; fails for nothing"),
        (GOOD | {"L": 13e-6}, "must fail below; above the upper limit"),
        (GOOD | {"L": 10.99e-6, "R20": 5.0}, "fails for another reason than its own: below the lower limit: R20"),
    ],
    ids=["passes", "other side", "something else too"],
)
def test_known_defect_that_does_not_fail_as_it_must_is_wrong(values: dict[str, float], words: str) -> None:
    """A bench that passes a shorted turn, or fails it by chance, has measured wrong."""
    found = check_failures(defect("shorted_turn", L="below"), run_of(values))

    assert any(not each.agrees and each.value is not None and words in each.words for each in found)


def test_open_unit_is_right_when_read_open_with_contact() -> None:
    """On its first seating a coil that reads open is not judged yet: its reason is what counts."""
    (found,) = check_failures(BROKEN, run_of({}, why=reason("coil_open")))

    assert found.agrees


@pytest.mark.parametrize("code", ["contact_open", "no_reply", "overload"])
def test_open_unit_is_not_shown_by_any_other_reason(code: str) -> None:
    """A unit that was never contacted proves nothing; nor does it put earlier units in doubt."""
    (found,) = check_failures(BROKEN, run_of({}, why=reason(code)))

    assert (False, None) == (found.agrees, found.value)


def test_open_unit_that_is_measured_is_wrong() -> None:
    """Who finds 8 ohm in a broken coil measures something else."""
    (found,) = check_failures(BROKEN, run_of(GOOD))

    assert (False, 7.05) == (found.agrees, found.value)


@pytest.mark.parametrize(
    ("references", "words"),
    [
        ((LOW, BROKEN), "1 good reference units with assigned values; 2 are needed"),
        ((LOW, good("A02", 7.06), BROKEN), "on both sides of 8 ohm"),
        ((LOW, HIGH), "no known-defect reference unit"),
        (tuple(replace(each, values=each.values[:2]) for each in (LOW, HIGH)), "assigned value of B@1mm, B@2mm"),
    ],
    ids=["one good", "both low", "none broken", "no field"],
)
def test_set_of_references_that_lacks_something_is_named(
    references: tuple[ReferenceUnit, ...], words: str
) -> None:
    """Low and high R, every judged characteristic, one that must fail."""
    assert any(words in each for each in missing_references(PLAN, references, TODAY))


def test_complete_set_of_references_lacks_nothing() -> None:
    """Two good ones and a broken one do."""
    assert () == missing_references(PLAN, (LOW, HIGH, BROKEN), TODAY)


def test_expired_certificate_is_named_the_day_after() -> None:
    """A certificate serves on its last day."""
    last = date(2026, 11, 24)
    value = assigned("R20", 7.05, until=last, certificate="26-0101")
    references = (replace(LOW, values=(value, *LOW.values[1:])), HIGH, BROKEN)

    assert ("A01 R20: its certificate ended on 2026-11-24",) == missing_references(PLAN, references, TODAY)
    assert () == missing_references(PLAN, references, last)


def test_value_is_called_certified_only_with_a_certificate() -> None:
    """The word stands for a paper that somebody can ask for."""
    assert "assigned by bench-9" == assigned("R20", 7.0).origin
    assert "certified by bench-9, certificate 7" == assigned("R20", 7.0, certificate="7").origin


def test_worn_reference_is_named_at_its_limit() -> None:
    """So many touches of its pads and no more."""
    unit = replace(LOW, use_limit=10)

    assert () == worn_references((unit, HIGH), {"A01": 9, "A02": 10_000})
    assert 1 == len(worn_references((unit,), {"A01": 10}))


def test_plan_uses_only_what_it_measures_and_judges() -> None:
    """A value that no method yields is left out, and a known-defect unit that could not fail for its reason."""
    extra = replace(LOW, values=(*LOW.values, AssignedValue("rise@9V", "K", 9.0, 0.2, "", "bench-9")))
    used = for_plan(PLAN, (extra, BROKEN, defect("out_of_limit", Rs="above")))

    assert (LOW, BROKEN) == used


def test_methods_leave_heating_out_without_an_assigned_rise() -> None:
    """A minute of heating is only for the thermal reference unit."""
    heated = parse_plan(IS_20_TEXT + '\n[[measure]]\nmethod = "heating"\ndrive = ["1 V"]\n', "p.toml")
    thermal = replace(LOW, values=(*LOW.values, AssignedValue("rise@1V", "K", 9.0, 0.2, "", "bench-9")))

    assert "heating" not in methods_for(heated, LOW)
    assert "heating" in methods_for(heated, thermal)
