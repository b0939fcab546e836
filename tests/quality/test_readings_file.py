"""Somebody else's readings file: map, units, decimal comma, temperature, and every mistake with its line."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.uncertainty import expanded_uncertainty
from station.errors import StudyError
from station.quality.readings_file import HowRead, Span, read_map, read_readings

SYMBOLS = {"R20": "ohm", "L": "H", "Q": "1", "B@2mm": "T/A"}
K = 234.5


def how(*maps: str, span: Span | None = None, **fields: object) -> HowRead:
    """Return how a file is read."""
    return HowRead(read_map(maps, SYMBOLS), SYMBOLS, K, span, **fields)  # type: ignore[arg-type]


def values(text: str, asked: HowRead) -> list[dict[str, float]]:
    """Return the values of each row; there must be no mistake."""
    rows, mistakes = read_readings(text, "f.csv", asked)

    assert () == mistakes
    return [{each.characteristic: each.value for each in row.values} for row in rows]


@pytest.mark.parametrize(
    ("header", "field", "text", "value"),
    [
        ("R_ohm", "R20", "7.853", 7.853),
        ("R mOhm", "R20", "7853", 7.853),
        ("R (Ohm)", "R20", "7.853", 7.853),
        ("resistance", "R20 ohm", "7.853", 7.853),
        ("R_ohm", "R20 mohm", "7853", 7.853),
        ("L_uH", "L", "28.7", 28.7e-6),
        ("L [uH]", "L", "2.87e1", 28.7e-6),
        ("L [µH]", "L", "28.7", 28.7e-6),
        ("B", "B@2mm mT/A", "11", 11e-3),
        ("Q", "Q", "0.71", 0.71),
    ],
)
def test_unit_stands_in_the_header_or_behind_the_field(header: str, field: str, text: str, value: float) -> None:
    """Exactly the float that the SI literal is."""
    found = values(f"SN,{header}\nA,{text}\n", how("SN=serial", f"{header}={field}"))

    assert [{field.split()[0]: value}] == found


@pytest.mark.parametrize(
    "text",
    [
        "\ufeffSN;R_ohm;L_uH\r\nA;7,853;28,7\r\n",
        "SN\tR_ohm\tL_uH\nA\t7,853\t28,7\n",
        "SN,R_ohm,L_uH\n\nA,7.853,28.7\n\n",
        'SN,R_ohm,L_uH\n"A","7.853"," 28.7 "\n',
        "r_OHM,note,sn,L_uH\n7.853,=1+1,A,28.7\n",
    ],
)
def test_file_of_any_spreadsheet_reads_alike(text: str) -> None:
    """Byte order mark, semicolons with decimal comma, tabs, quotes, empty lines, order and case of the headers."""
    asked = how("SN=serial", "R_ohm=R20", "L_uH=L")

    assert [{"R20": 7.853, "L": 28.7e-6}] == values(text, asked)


def test_resistance_becomes_r20_by_the_temperature_of_its_row() -> None:
    """R20 = R (234.5 + 20)/(234.5 + T), IEC 60034-1: a coil of 8 ohm at 20 degC reads 8.1572 ohm at 25 degC."""
    reading = 8.0 * (K + 25.0) / (K + 20.0)
    (found,) = values(f"SN,R_ohm,T\nA,{reading!r},25.0\n", how("SN=serial", "R_ohm=R", "T=temperature degC"))

    assert math.isclose(8.0, found["R20"], rel_tol=1e-12)


def test_unknown_temperature_is_part_of_the_uncertainty() -> None:
    """15 to 30 degC: 0.39 %/K of copper (1/254.5 at 20 degC, IEC 60028) times 7.5 K is 2.9 %; 95 % of a rectangle
    is 0.95 of its half-width."""
    rows, _ = read_readings("SN,R_ohm\nA,8.0\n", "f.csv", how("SN=serial", "R_ohm=R", span=Span(15.0, 30.0)))
    (found,) = rows[0].values
    half = 7.5 / (K + 22.5) * found.value

    assert math.isclose(0.95 * half, expanded_uncertainty(found.terms), rel_tol=1e-3)
    assert 0.027 < expanded_uncertainty(found.terms) / found.value < 0.0295


def test_source_states_its_own_uncertainty_by_column_or_share() -> None:
    """U95 of a column goes before a stated share; standard uncertainty is U95 / 1.96."""
    asked = how("SN=serial", "L_uH=L", "U_uH=U95(L)", relative_u95={"L": 0.01})
    rows, _ = read_readings("SN,L_uH,U_uH\nA,28.7,0.196\nB,20.0,\n", "f.csv", asked)
    found = [row.values[0].terms[0].standard_uncertainty for row in rows]

    assert math.isclose(0.1e-6, found[0], rel_tol=1e-12)
    assert math.isclose(0.2e-6 / 1.96, found[1], rel_tol=1e-12)


def test_every_mistake_is_told_with_its_line_and_good_rows_are_kept() -> None:
    """Seven bad lines of nine; a line that is twice wrong is told twice."""
    text = (
        "SN,R_ohm,L_uH,T,date\n"
        "A,7.8,28.7,23,2026-03-01\n"
        "A,7.8,28.7,23,\n"
        ",7.8,28.7,23,\n"
        "B,seven,28.7,23,\n"
        "C,7.8,28.7\n"
        "=1+1,7.8,28.7,23,\n"
        "D,7.8,9.9E37,warm,1.3.2026\n"
        "E,,,23,\n"
        "F,,28.7,,2026-03-01T14:30\n"
        "G,7.8,28.7,,\n"
    )
    asked = how("SN=serial", "R_ohm=R", "L_uH=L", "T=temperature degC", "date=measured")
    rows, mistakes = read_readings(text, "f.csv", asked)
    told = [(each.line, each.key) for each in mistakes]

    assert ["A", "F"] == [row.serial for row in rows]
    assert [
        (3, "SN"), (4, "SN"), (5, "R_ohm"), (6, "row"), (7, "SN"),
        (8, "measured"), (8, "L_uH"), (8, "T"), (8, "temperature"), (9, "row"), (11, "temperature"),
    ] == told  # fmt: skip
    assert "A stands in line 2 already" in mistakes[0].message


def test_row_is_kept_as_it_stands_in_the_file() -> None:
    """For the record: what was read, before anybody reckoned with it."""
    rows, _ = read_readings("SN;R_ohm;note\nA;7,853;ok\n", "f.csv", how("SN=serial", "R_ohm=R20"))

    assert ("A;7,853;ok", 2) == (rows[0].text, rows[0].line)


@pytest.mark.parametrize(
    ("maps", "said"),
    [
        (("R_ohm=R20",), "no column is the serial"),
        (("SN=serial",), "no column has values"),
        (("SN=serial", "R=R20"), "needs its unit"),
        (("SN=serial", "R=R20 uH"), "the unit 'uH' does not serve"),
        (("SN=serial", "R_ohm=Rdc"), "'Rdc' is no field; there are serial, panel"),
        (("SN=serial", "R_ohm"), "must read HEADER=FIELD"),
        (("SN=serial", "A_ohm=R20", "B_ohm=R20"), "is named by two columns"),
        (("SN=serial", "A_ohm=R20", "B_ohm=R"), "comes from R too"),
        (("SN=serial ohm", "R_ohm=R20"), "serial is a text and has no unit"),
    ],
)
def test_map_that_is_wrong_is_refused_in_words(maps: tuple[str, ...], said: str) -> None:
    """Before the file is read."""
    with pytest.raises(StudyError) as caught:
        read_map(maps, SYMBOLS)

    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no readings follow"),
        ("SN,R_ohm\n", "no readings follow"),
        ("SN,ohm\nA,1\n", "R_ohm: is no column; the file has 'SN', 'ohm'"),
        ("SN,R_ohm,R_ohm\nA,1,2\n", "stands 2 times in the header line"),
        ('SN,R_ohm\n"A,1\n', "is no CSV"),
    ],
)
def test_file_that_is_none_is_refused_whole(text: str, said: str) -> None:
    """Without a header line that fits there is no row to keep."""
    with pytest.raises(StudyError) as caught:
        read_readings(text, "f.csv", how("SN=serial", "R_ohm=R20"))

    assert said in str(caught.value)


def test_resistance_without_any_temperature_is_refused_once() -> None:
    """Not line by line: nobody has said how warm the coils were."""
    with pytest.raises(StudyError) as caught:
        read_readings("SN,R_ohm\nA,8\nB,8\n", "f.csv", how("SN=serial", "R_ohm=R"))

    assert 1 == len(caught.value.mistakes)
    assert "--temperature '15 degC to 30 degC'" in str(caught.value)


@given(text=st.text(max_size=200))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    """Rows, mistakes or StudyError; nothing else comes out."""
    asked = how("SN=serial", "R_ohm=R20")
    try:
        rows, mistakes = read_readings(f"SN,R_ohm\n{text}", "f.csv", asked)
    except StudyError:
        return

    assert all(math.isfinite(each.value) for row in rows for each in row.values)
    assert {row.line for row in rows}.isdisjoint({each.line for each in mistakes})


@given(value=st.floats(min_value=1e-3, max_value=1e6))
def test_number_comes_through_as_it_was_written(value: float) -> None:
    """With a point or, among semicolons, a comma: the same float."""
    plain = f"{value!r}"
    asked = how("SN=serial", "R_ohm=R20")

    assert [{"R20": value}] == values(f"SN,R_ohm\nA,{plain}\n", asked)
    assert [{"R20": value}] == values(f"SN;R_ohm\nA;{plain.replace('.', ',')}\n", asked)
