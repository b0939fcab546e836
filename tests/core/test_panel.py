"""The way through a panel, and the serials of its places."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.panel import OPEN, PanelWay, Place, PlaceState, begin, decided, go_to, missing, skip
from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.plan_panel import panel_places
from station.core.results import Decision
from station.core.serials import read_serial
from station.data import data_path
from station.errors import PlanError

TEXT = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
SERIAL_LINE = next(line for line in TEXT.splitlines() if line.startswith("serial = "))


def plan(*changes: tuple[str, str]) -> Plan:
    """The invented plan with pieces of its text replaced."""
    text = TEXT
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return parse_plan(text, "plan.toml")


def way(places: int = 4) -> PanelWay:
    """A panel of one row."""
    row = [Place(f"P-A{i:02d}", "A", f"{i:02d}") for i in range(1, places + 1)]
    return begin("P", "L", "P", row, {}, unit_labels=False)


def names(found: PanelWay) -> list[str]:
    """Walk to the end, each unit passing: the order in which places come."""
    order: list[str] = []
    while found.next is not None and len(order) < 1_000:
        order.append(found.next.name)
        found = decided(found, found.next.serial, Decision.PASS, held=False)
    return order


def test_places_follow_from_the_panels_code() -> None:
    """Row by row; each serial reads back as a unit of that lot, panel, row and column."""
    lot, panel, places = panel_places(plan(), "L2641-07")
    units = [read_serial(plan(), each.serial) for each in places]

    assert ("L2641", "07", 96) == (lot, panel, len(places))
    assert ["L2641-07-A01", "L2641-07-A02", "L2641-07-H12"] == [places[i].serial for i in (0, 1, -1)]
    assert [(lot, panel, e.row, e.column) for e in places] == [(u.lot, u.panel, u.row, u.column) for u in units]


def test_places_have_the_plans_check_character() -> None:
    """A serial made of its fields proves itself as a scanned one does."""
    checked = plan((SERIAL_LINE, SERIAL_LINE[:-1] + "(?P<check>[0-9A-Z*])'\ncheck_digit = \"iso7064-mod37-2\""))
    _, _, places = panel_places(checked, "L2641-07")

    assert all(read_serial(checked, each.serial).column == each.column for each in places)


@pytest.mark.parametrize("code", ["L2641", "L2641-07-A01", "P9", ""])
def test_what_is_no_panel_has_no_places(code: str) -> None:
    """A lot, a unit, something foreign."""
    with pytest.raises(ValueError, match="is no panel of IS-20"):
        panel_places(plan(), code)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('rows = "A-H"', 'rows = "H-A"'), "must be names and ranges such as 'A-H' or '01-12'; got 'H-A'"),
        (('rows = "A-H"', 'rows = "A-H, C"'), "must name each row once"),
        (('rows = "A-H"', 'rows = "A-K"'), "must be rows that the serial can have ((?P<row>[A-H])); got 'I'"),
        (('columns = "01-12"', 'columns = "1-12"'), "must be names and ranges"),
        (('rows = "A-H"', 'rowes = "A-H"'), "rowes"),
        ((r"-(?P<row>[A-H])", r"-X?(?P<row>[A-H])"), "must name lot, panel, row and column in this order"),
    ],
)
def test_panel_that_can_not_be_is_a_mistake(change: tuple[str, str], words: str) -> None:
    """Told with what would be right."""
    with pytest.raises(PlanError) as error:
        plan(change)

    assert words in str(error.value)


def test_skipped_places_come_again_at_the_end_and_missing_ones_do_not() -> None:
    """Skip A01, A02 is missing: A03, A04, then A01 again."""
    begun = missing(skip(way()))

    assert ["A03", "A04", "A01"] == names(begun)
    assert "1 missing, 2 to do, 1 skipped" == begun.words


def test_place_that_is_skipped_twice_lets_the_others_in() -> None:
    """Skipping goes round, it does not stand still."""
    twice = skip(skip(skip(way(2))))

    assert ["A02", "A01"] == names(twice)


def test_unit_that_was_not_measured_keeps_its_place() -> None:
    """It is seated again; skipped, it comes at the end; held, it is an engineer's."""
    first = way().places[0].serial
    again = decided(way(), first, Decision.INVALID, held=False)
    held = decided(way(), first, Decision.INVALID, held=True)

    assert again.next is not None
    assert ("A01", PlaceState.NOT_MEASURED) == (again.next.name, again.next.state)
    assert ["A02", "A03", "A04", "A01"] == names(skip(again))
    assert ["A02", "A03", "A04"] == names(held)


def test_going_to_a_place_and_on_from_there() -> None:
    """A jump is for one unit; then the first open place comes."""
    jumped = go_to(way(), "P-A03")

    assert ["A03", "A01", "A02", "A04"] == names(jumped)
    assert way() == go_to(way(), "another panel's")


def test_panel_is_taken_up_where_it_was_left() -> None:
    """What is on record of its units and missing places is known from the start."""
    known = {"P-A01": PlaceState.FAIL, "P-A02": PlaceState.MISSING, "P-A03": PlaceState.NOT_MEASURED}
    found = begin("P", "L", "P", way().places, known, unit_labels=True)

    assert ["A03", "A04"] == names(found)
    assert "1 fail, 1 missing, 1 to do, 1 not measured" == found.words


@given(st.lists(st.sampled_from(["skip", "missing", "pass", "fail", "invalid", "held"]), max_size=40))
def test_whatever_is_done_no_place_is_lost(acts: list[str]) -> None:
    """Each place is in one state; the next one is an open one, and there is one as long as any is open."""
    found = way(5)
    for act in acts:
        here = found.next
        if act in ("skip", "missing") or here is None:
            found = skip(found) if act == "skip" else missing(found)
            continue
        decision = {"pass": Decision.PASS, "fail": Decision.FAIL}.get(act, Decision.INVALID)
        found = decided(found, here.serial, decision, held=act == "held")
    still = [each for each in found.places if each.state in OPEN]

    assert 5 == sum(found.count().values())
    assert (found.next in still) if still else found.next is None
    assert [each.serial for each in way(5).places] == [each.serial for each in found.places]


def test_code_of_another_panel_is_not_on_this_one() -> None:
    """Deciding a unit of another panel changes nothing here."""
    assert way() == decided(way(), "elsewhere", Decision.PASS, held=False)
    assert replace(way(), at="elsewhere").next == way().places[0]
