"""Lines of keys in TOML text."""

import json
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.toml_lines import Path, key_lines, line_of

SAMPLE = '''\
part = "IS-20"          # [not] = a key
text = """
fake = 1
[fake]
quotes: ""\\""""
raw = \'\'\'
other = "x\'\'\'
a.b . "c d" = 1

[coil]
layers = 2
list = [
  "one",  # ] comment
  [2, 3],
  { x = 1, y = "}" },
]
[[measure]]
method = "contact"
[[measure]]
method = "field"
heights = ["1 mm", "2 mm"]
  [[measure.part]]
  size = 1
  [[measure.part]]
  size = 2
  [measure.more]
  depth = 3
[characteristic."B@2mm"]
lower = "1 T/A"
inline = { R20 = "[6 ohm, 7 ohm)", 'deep'.er = { z = [1] } }
when = 2027-03-31 07:32:00
'''


def test_key_lines_of_a_text_with_everything() -> None:
    """Strings of all kinds, comments, arrays of tables, inline tables, quoted and dotted keys."""
    lines = key_lines(SAMPLE)
    expected: dict[Path, int] = {
        ("part",): 1,
        ("text",): 2,
        ("raw",): 6,
        ("a", "b", "c d"): 8,
        ("coil",): 10,
        ("coil", "layers"): 11,
        ("coil", "list", 0): 13,
        ("coil", "list", 1, 1): 14,
        ("coil", "list", 2, "y"): 15,
        ("measure", 0): 17,
        ("measure", 0, "method"): 18,
        ("measure", 1, "method"): 20,
        ("measure", 1, "heights", 1): 21,
        ("measure", 1, "part", 1, "size"): 25,
        ("measure", 1, "more", "depth"): 27,
        ("characteristic", "B@2mm", "lower"): 29,
        ("characteristic", "B@2mm", "inline", "R20"): 30,
        ("characteristic", "B@2mm", "inline", "deep", "er", "z", 0): 30,
        ("characteristic", "B@2mm", "when"): 31,
    }

    assert tomllib.loads(SAMPLE)
    assert expected == {path: lines[path] for path in expected}
    assert ("fake",) not in lines
    assert ("other",) not in lines


def test_line_of_falls_back_to_the_nearest_part() -> None:
    """A key that is missing is shown where its table begins, and else at the top."""
    lines = key_lines(SAMPLE)

    assert line_of(lines, ("measure", 1, "drive")) == 19
    assert line_of(lines, ("nothing", "here")) == 1


values = st.recursive(
    st.integers(-5, 5)
    | st.booleans()
    | st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=8),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=5,
)
keys = st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=5)
tables = st.dictionaries(keys, values, max_size=4)


@pytest.mark.slow
@given(document=st.dictionaries(keys, tables | st.lists(tables, min_size=1, max_size=3), max_size=4))
def test_key_lines_finds_every_key_where_it_was_written(
    document: dict[str, dict[str, object] | list[dict[str, object]]],
) -> None:
    """Keys of tables and arrays of tables, with any printable characters in keys and strings."""
    text: list[str] = []
    expected: dict[Path, int] = {}
    for name, content in document.items():
        several = isinstance(content, list)
        for index, table in enumerate(content if isinstance(content, list) else [content]):
            path: Path = (name, index) if several else (name,)
            text.append(f"[[{json.dumps(name)}]]" if several else f"[{json.dumps(name)}] # = [x]")
            expected[path] = len(text)
            for key, value in table.items():
                text.append(f"{json.dumps(key)} = {json.dumps(value)}")
                expected[(*path, key)] = len(text)
    joined = "\n".join(text)
    tomllib.loads(joined)
    lines = key_lines(joined)

    assert expected == {path: lines.get(path) for path in expected}
