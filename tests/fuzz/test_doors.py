"""Every parser that meets the outside, with anything at all and with sound input a little spoiled.

`COILGATE_NIGHTLY=1` runs the long profile: thousands of other examples each night.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fuzz.doors import BYTE_DOORS, TEXT_DOORS, ByteDoor, TextDoor

_ANY_TEXT = st.text(max_size=300) | st.text("0123456789.,;+-eE nNaAiIfF=[]{}'\"\n\t#\ufeff\x00µΩ", max_size=200)
_ANY_BYTES = st.binary(max_size=200) | st.text('0123456789.,+-eENAIF <>*"', max_size=60).map(str.encode)


@st.composite
def _spoiled_text(draw: st.DrawFn, sound: tuple[str, ...]) -> str:
    """Sound text with pieces cut out, put in twice, or replaced."""
    text = draw(st.sampled_from(sound))
    for _ in range(draw(st.integers(1, 4))):
        begin = draw(st.integers(0, len(text)))
        end = draw(st.integers(begin, min(len(text), begin + 40)))
        put = draw(st.one_of(st.just(""), st.just(text[begin:end] * 2), st.sampled_from(_POISON), st.text(max_size=8)))
        text = text[:begin] + put + text[end:]
    return text


_POISON = (
    "\n", "\r", "\x00", "\ufeff", "\u202e", "nan", "-inf", "1e999", "-0", "9" * 400, "=1+1", "'", '"""', "[", "]]",
    "0x1", "１", "true", "2026-13-45", ",", ";", "../../etc", "\ud800".encode("utf-8", "replace").decode(), "💥" * 9,
)  # fmt: skip


@st.composite
def _spoiled_bytes(draw: st.DrawFn, sound: tuple[bytes, ...]) -> bytes:
    """A sound message with bytes changed, lost or put in."""
    message = bytearray(draw(st.sampled_from(sound)))
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(message)))
        message[at : at + draw(st.integers(0, 3))] = draw(st.binary(max_size=4))
    return bytes(message)


@pytest.mark.slow
@pytest.mark.parametrize("door", TEXT_DOORS, ids=lambda door: door.name)
@given(data=st.data())
def test_text_is_taken_or_refused_in_words(door: TextDoor, data: st.DataObject) -> None:
    """Nothing but the parser's own refusal gets out, and that one says something."""
    text = data.draw(_ANY_TEXT | _spoiled_text(door.sound))
    said = "taken"
    try:
        door.parse(text)
    except door.refuses as error:
        said = str(error)

    assert said.strip()
    assert "\x00" not in said


@pytest.mark.slow
@pytest.mark.parametrize("door", BYTE_DOORS, ids=lambda door: door.name)
@given(data=st.data())
def test_bytes_are_taken_or_refused_in_words(door: ByteDoor, data: st.DataObject) -> None:
    """Nothing but the driver's own refusal gets out; no value is not a number."""
    message = data.draw(_ANY_BYTES | _spoiled_bytes(door.sound))
    try:
        found = door.parse(message)
    except door.refuses as error:
        found = str(error).strip()

    assert found not in ("", math.inf, -math.inf)
    assert found == found  # and not NaN


@pytest.mark.parametrize("door", TEXT_DOORS, ids=lambda door: door.name)
def test_a_megabyte_is_refused_in_few_words(door: TextDoor) -> None:
    """A megabyte of one letter, of brackets or of short lines ends soon, and what it says can be read."""
    for text in ("A" * 1_000_000, "[" * 1_000_000, "a,b\n" * 250_000):
        said = ""
        try:
            door.parse(text)
        except door.refuses as error:
            said = str(error)

        assert len(said) < 2_000


@pytest.mark.parametrize("door", [*TEXT_DOORS, *BYTE_DOORS], ids=lambda door: door.name)
def test_sound_input_is_taken(door: TextDoor | ByteDoor) -> None:
    """What the other tests spoil is sound: they begin inside the parser, not at its first line."""
    taken = 0
    for each in door.sound:
        try:
            door.parse(each)  # type: ignore[arg-type]  # each door has its own kind
        except door.refuses:
            continue
        taken += 1

    assert taken >= 1
