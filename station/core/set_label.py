"""What the code on a set's label says, and reading it back. Plain words: any reader of codes tells a person too.

    set L2641-S0001; lot L2641; part IS-20; units L2641-01-A01, L2641-01-B07; R20 7.981 ohm to 8.012 ohm; SIMULATED
"""

from dataclasses import dataclass

LONGEST = 200
"""Characters of a code (`station.reports.codes`); a big set's units don't fit and are counted instead."""

SIMULATED = "SIMULATED"


@dataclass(frozen=True, slots=True)
class SetLabel:
    """What a label says. `serials` is empty if they did not fit."""

    name: str
    serials: tuple[str, ...] = ()


def set_label_text(
    name: str, serials: tuple[str, ...], *, lots: tuple[str, ...], part: str, values: str, simulated: bool
) -> str:
    """Return the text of a set's code. `values`: such as `R20 7.981 ohm to 8.012 ohm`; may be empty."""
    head = [f"set {name}", f"lot {', '.join(lots)}", f"part {part}"]
    tail = [each for each in (values, SIMULATED if simulated else "") if each]
    whole = "; ".join([*head, f"units {', '.join(serials)}", *tail])
    # A serial with our own punctuation in it would be read back as two.
    plain = not any(mark in each for each in serials for mark in ",;")
    if plain and len(whole) <= LONGEST:
        return whole
    return "; ".join([*head, f"{len(serials)} units", *tail])[:LONGEST]


def read_set_label(text: str) -> SetLabel | None:
    """Return what a scan of a set's code says; None if it is none.

    >>> read_set_label("set L2641-S0001; lot L2641; part IS-20; units A, B; SIMULATED")
    SetLabel(name='L2641-S0001', serials=('A', 'B'))
    """
    first, *others = [each.strip() for each in text.strip().split(";")]
    if not first.startswith("set ") or not others:
        return None
    units = next((each.removeprefix("units ") for each in others if each.startswith("units ")), "")
    serials = tuple(each.strip() for each in units.split(",") if each.strip())
    return SetLabel(first.removeprefix("set ").strip(), serials)
