"""A lot's life: what is allowed when, and that no order of events makes its numbers not add up."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.lot_life import (
    LotChange,
    LotEvent,
    LotLife,
    LotState,
    PlaceCount,
    apply,
    difference_words,
    has_difference,
    life_of,
    lot_refusal,
    missing_units,
    refusal,
)
from station.core.lot_tally import Tally, UnitStanding, counted_places, tally
from station.core.results import Decision
from station.errors import LotError

UTC_NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
SERIALS = tuple(f"L1-{number}" for number in range(8))


def event(change: LotChange, **fields: object) -> LotEvent:
    """Return an event of EN-02 with a reason."""
    return replace(LotEvent(change, "EN-02", UTC_NOW, "why not"), **fields)  # type: ignore[arg-type]


def received(quantity: int) -> LotEvent:
    """Return the event of units received."""
    return event(LotChange.RECEIVED, quantity=quantity, part="IS-20", why="")


def standing(serial: str, decision: Decision | None = Decision.PASS, **fields: object) -> UnitStanding:
    """Return a unit in bin 1, or bin 90 unless it passes."""
    number = 0 if decision is None else 1 if decision is Decision.PASS else 90
    return replace(UnitStanding(serial, decision, number, "", False, False), **fields)  # type: ignore[arg-type]


def adds_up(found: Tally) -> bool:
    """Tell whether categories, places and what is closed all give what was received and the surplus."""
    whole = found.total if found.received is None else found.received + found.surplus
    lying = sum(each.recorded for each in found.places)
    return found.total == whole and lying + found.closed == whole and min(found.never_measured, found.surplus) >= 0


units = st.lists(
    st.builds(
        UnitStanding,
        st.sampled_from(SERIALS),
        st.sampled_from([*Decision, None]),
        st.sampled_from([0, 1, 2, 90, 99]),
        st.just("bin"),
        st.booleans(),
        st.booleans(),
    ),
    unique_by=lambda each: each.serial,
)
events = st.lists(
    st.builds(
        LotEvent,
        st.sampled_from(LotChange),
        st.sampled_from(["EN-02", ""]),
        st.just(UTC_NOW),
        st.sampled_from(["", "why"]),
        st.sampled_from(["", "IS-20", "IS-21"]),
        st.integers(-3, 12),
        st.lists(st.sampled_from(SERIALS), max_size=3).map(tuple),
        st.just(()),
        st.integers(0, 3),
    ),
    max_size=25,
)


def tried(life: LotLife, asked: list[LotEvent], found: list[UnitStanding]) -> list[LotLife]:
    """Return the life after each event that was allowed. A closing is of what lies there, counted with a miss."""
    lives = [life]
    for each in asked:
        now = each
        if each.change in (LotChange.CLOSED, LotChange.PART_CLOSED):
            part = each.change is LotChange.PART_CLOSED
            open_now = {unit.serial for unit in found} - lives[-1].closed_units - lives[-1].scrapped
            lying = tuple(
                sorted(s.serial for s in found if s.serial in open_now and s.decision is not None and not s.held)
            )
            places = tally(lives[-1], found).places
            counts = tuple(replace(place, counted=place.recorded) for place in places)
            now = replace(each, serials=lying[:2] if part else (), counts=counts[:1] if part else counts)
        try:
            lives.append(apply(lives[-1], now))
        except LotError:
            continue
    return lives


@pytest.mark.slow
@given(asked=events, found=units)
def test_no_order_of_events_makes_the_numbers_not_add_up(asked: list[LotEvent], found: list[UnitStanding]) -> None:
    """Received and surplus are always passed, failed, held, conceded, scrapped, not measured; and what lies open or
    is closed."""
    lives = tried(LotLife("L1"), asked, found)

    assert all(adds_up(tally(each, found)) for each in lives)


@pytest.mark.slow
@given(asked=events, found=units)
def test_events_that_were_allowed_give_the_same_life_again(asked: list[LotEvent], found: list[UnitStanding]) -> None:
    """What is on record is enough: folding the events of a life gives it back."""
    life = tried(LotLife("L1"), asked, found)[-1]

    assert life == life_of("L1", life.events)


@pytest.mark.slow
@given(asked=events, found=units)
def test_closed_lot_takes_nothing_but_reopening(asked: list[LotEvent], found: list[UnitStanding]) -> None:
    """Whatever was done before, after closing every other change is refused, and every unit's scan."""
    life = tried(LotLife("L1"), asked, found)[-1]
    if life.closed is None:
        return
    for change in set(LotChange) - {LotChange.REOPENED, LotChange.RELEASED}:
        with pytest.raises(LotError, match="closed"):
            apply(life, event(change, quantity=1))

    assert all(refusal(life, serial) for serial in SERIALS)
    assert life.hold is None


def test_states_follow_what_happened() -> None:
    """Received, open with the first unit measured, held, open again, closed, reopened."""
    life = apply(LotLife("L1"), received(3))
    held = apply(life, event(LotChange.HELD))
    free = apply(held, event(LotChange.RELEASED))
    closed = apply(free, event(LotChange.CLOSED, counts=(PlaceCount("unmeasured", "", 3, 3),)))
    again = apply(closed, event(LotChange.REOPENED, closing=1))
    states = [each.state(measured=False) for each in (life, held, free, closed, again)]

    assert LotState.OPEN is life.state(measured=True)
    assert [LotState.RECEIVED, LotState.HELD, LotState.RECEIVED, LotState.CLOSED, LotState.RECEIVED] == states


def test_each_unit_counts_once_in_the_first_that_it_is() -> None:
    """Scrapped goes before held, held before conceded, that before its decision; two were never measured."""
    life = life_of("L1", [received(9), event(LotChange.SCRAPPED, serials=("a",), quantity=1)])
    found = tally(
        life,
        [
            standing("a", held=True),
            standing("b", Decision.FAIL, held=True, conceded=True),
            standing("c", Decision.FAIL, conceded=True),
            standing("d", Decision.FAIL),
            standing("e"),
            standing("f", Decision.INVALID),
            standing("g", None),
        ],
    )

    assert (1, 1, 1, 1, 2, 3) == (
        found.passed, found.failed, found.held, found.conceded, found.scrapped, found.not_measured
    )  # fmt: skip
    assert (2, 0) == (found.never_measured, found.surplus)


@given(found=units, missing=st.sets(st.sampled_from(SERIALS)), quantity=st.none() | st.integers(1, 12))
def test_places_without_a_unit_never_make_the_numbers_not_add_up(
    found: list[UnitStanding], missing: set[str], quantity: int | None
) -> None:
    """They are part of those never measured, at most; a unit that was decided on is not missing."""
    life = life_of("L1", [] if quantity is None else [received(quantity)])
    result = tally(life, found, missing=missing)
    decided = {each.serial for each in found if each.decision is not None or each.held or each.conceded}

    assert adds_up(result)
    assert result.missing_received <= min(result.missing, result.never_measured)
    assert len(missing - decided) == result.missing


def test_place_without_a_unit_that_is_not_counted_explains_itself() -> None:
    """Three received, one place of them empty: counting the bin is enough; another number for it is a difference."""
    life = life_of("L1", [received(3)])
    places = tally(life, [standing("a"), standing("b")], missing={"c"}).places
    counted = counted_places(places, {"1": 2}, lot="L1", part=False)
    other = counted_places(places, {"1": 2, "missing": 0}, lot="L1", part=False)

    assert "nothing differs" == difference_words(life, event(LotChange.CLOSED, counts=counted))
    assert "missing counted 0, on record 1; 1 fewer in all than the 3 received" == difference_words(
        life, event(LotChange.CLOSED, counts=other)
    )


def test_more_units_than_received_show_as_a_surplus() -> None:
    """Ten on record, eight received: two too many, and none is called never measured."""
    found = tally(life_of("L1", [received(8)]), [standing(f"u{i}") for i in range(10)])

    assert (2, 0) == (found.surplus, found.never_measured)
    assert adds_up(found)


def test_difference_needs_a_reason() -> None:
    """One unit too few in bin 1: refused without a reason, recorded with one, in figures."""
    life = apply(LotLife("L1"), received(3))
    short = event(LotChange.CLOSED, counts=(PlaceCount("1", "low R", 3, 2),), why="")
    with pytest.raises(LotError, match=r"1 counted 2, on record 3; 1 fewer in all than the 3 received.*say why"):
        apply(life, short)
    closed = apply(life, replace(short, why="one fell behind the cabinet"))

    assert closed.closed is not None
    assert "one fell behind the cabinet" == closed.closed.event.why
    assert 1 == missing_units(life, short)


def test_right_total_with_two_wrong_bins_is_a_difference() -> None:
    """One unit in the wrong bin: the sum is right, two bins are not."""
    life = apply(LotLife("L1"), received(4))
    mixed = event(LotChange.CLOSED, counts=(PlaceCount("1", "", 2, 1), PlaceCount("2", "", 2, 3)), why="")

    assert has_difference(life, mixed)
    assert "1 counted 1, on record 2; 2 counted 3, on record 2" == difference_words(life, mixed)


def test_rest_is_reconciled_against_what_was_not_shipped_before() -> None:
    """Five of twelve were shipped as a part; the other seven close the lot without a difference."""
    part = event(LotChange.PART_CLOSED, serials=SERIALS[:5], counts=(PlaceCount("1", "", 5, 5),), why="")
    life = life_of("L1", [received(12), part])
    rest = event(LotChange.CLOSED, counts=(PlaceCount("2", "", 7, 7),), why="")

    assert not has_difference(life, rest)
    assert apply(life, rest).closed is not None


def test_part_is_reopened_only_after_the_whole() -> None:
    """A part within a closed lot can't be opened alone; the newest closing first."""
    part = event(LotChange.PART_CLOSED, serials=SERIALS[:1], counts=(PlaceCount("1", "", 1, 1),))
    life = life_of("L1", [received(1), part, event(LotChange.CLOSED)])
    with pytest.raises(LotError, match="closed as a whole: reopen that first"):
        apply(life, event(LotChange.REOPENED, closing=1))
    life = apply(apply(life, event(LotChange.REOPENED, closing=2)), event(LotChange.REOPENED, closing=1))

    assert ((), frozenset()) == (life.closings, life.closed_units)


def test_unit_of_a_closed_part_can_not_be_closed_or_scrapped_again() -> None:
    """It would count twice."""
    part = event(LotChange.PART_CLOSED, serials=SERIALS[:1], counts=(PlaceCount("1", "", 1, 1),))
    life = life_of("L1", [received(2), part])

    for again in (part, event(LotChange.SCRAPPED, serials=SERIALS[:1])):
        with pytest.raises(LotError, match="in a part of lot L1 that is closed"):
            apply(life, again)


@pytest.mark.parametrize(
    ("counted", "part", "words"),
    [
        ({"1": 5}, False, "not counted: 90. Count them and give each: --counted 90=N"),
        ({"1": 5, "90": 1, "shelf": 2}, False, "'shelf' is no place; there are 1, 90, held"),
        ({"held": 1}, True, "held, scrapped and unmeasured units stay with the rest"),
    ],
)
def test_count_that_leaves_out_a_place_is_refused(counted: dict[str, int], part: bool, words: str) -> None:
    """Every place that holds a unit is counted, each by the name it has; a part is bins."""
    places = (PlaceCount("1", "", 5, 0), PlaceCount("90", "", 1, 0), PlaceCount("held", "", 0, 0))
    with pytest.raises(LotError) as caught:
        counted_places(places, counted, lot="L1", part=part)

    assert words in str(caught.value)


def test_units_in_a_bin_that_the_records_know_nothing_of_are_counted_too() -> None:
    """Two units found in bin 7: on record 0, counted 2: a difference."""
    found = counted_places((PlaceCount("1", "", 5, 0),), {"1": 5, "7": 2}, lot="L1", part=False)

    assert (PlaceCount("1", "", 5, 5), PlaceCount("7", "", 0, 2)) == found


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (LotChange.HELD, "is held: why not. Set L1-0 aside"),
        (LotChange.CLOSED, "lot L1 is closed. Set L1-0 aside and call the engineer"),
        (LotChange.SCRAPPED, "L1-0 is scrapped. Put it into the scrap box"),
        (LotChange.PART_CLOSED, "L1-0 is in a part of lot L1 that is closed. Put it back"),
    ],
)
def test_scan_is_refused_with_what_to_do(change: LotChange, words: str) -> None:
    """Held, closed, scrapped, shipped: each in words, with the next action."""
    life = apply(apply(LotLife("L1"), received(1)), event(change, serials=SERIALS[:1]))

    assert words in refusal(life, SERIALS[0])
    assert bool(lot_refusal(life)) == (change in (LotChange.HELD, LotChange.CLOSED))
    assert "" == refusal(apply(LotLife("L1"), received(1)), SERIALS[0])


@pytest.mark.parametrize(
    ("before", "then", "words"),
    [
        ([], event(LotChange.CLOSED), "how many units were received is not on record"),
        ([], event(LotChange.RECEIVED, quantity=0), "how many units?"),
        ([received(5)], event(LotChange.RECEIVED, quantity=-1, why=""), "needs a reason"),
        ([received(5)], event(LotChange.RECEIVED, quantity=1, part="IS-21"), "is of part IS-20, not IS-21"),
        ([received(5)], event(LotChange.HELD, why=" "), "say why"),
        ([received(5)], event(LotChange.RELEASED), "is not held"),
        ([received(5), event(LotChange.HELD)], event(LotChange.CLOSED), "Release it, then close it"),
        ([received(5)], event(LotChange.REOPENED, closing=1), "is not closed"),
        ([received(5)], event(LotChange.SCRAPPED), "name the units"),
        ([received(5)], replace(event(LotChange.HELD), who=" "), "say who"),
    ],
)
def test_event_that_the_life_does_not_allow_is_refused(before: list[LotEvent], then: LotEvent, words: str) -> None:
    """In words that say what to do."""
    with pytest.raises(LotError) as caught:
        apply(life_of("L1", before), then)

    assert words in str(caught.value)
