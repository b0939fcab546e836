"""How often a method is due (AIAG control plan: sample frequency)."""

import re

from station.core.plan import Frequency, FrequencyKind

_FORMS: tuple[tuple[str, FrequencyKind], ...] = (
    (r"every unit()", FrequencyKind.EVERY),
    (r"1 in ([0-9]{1,6})(?: units)?", FrequencyKind.ONE_IN),
    (r"first ([0-9]{1,6})(?: of each lot)?", FrequencyKind.FIRST_OFF),
    (r"first ([0-9]{1,6}) of each panel", FrequencyKind.PER_PANEL),
)


def parse_frequency(text: str) -> Frequency:
    """Return the frequency that a plan states in words. Raises ValueError with the forms that are right."""
    words = " ".join(text.split())
    for form, kind in _FORMS:
        match = re.fullmatch(form, words)
        if match and (kind is FrequencyKind.EVERY or int(match.group(1)) >= 1):
            return Frequency(kind, int(match.group(1) or 1))
    raise ValueError(
        f"must be 'every unit', '1 in 25', 'first 5' or 'first 2 of each panel', with 1 or more; got {text[:40]!r}"
    )


def frequency_words(frequency: Frequency) -> str:
    """Return the frequency in words; `parse_frequency` reads them back."""
    return {
        FrequencyKind.EVERY: "every unit",
        FrequencyKind.ONE_IN: f"1 in {frequency.n} units",
        FrequencyKind.FIRST_OFF: f"first {frequency.n} of each lot",
        FrequencyKind.PER_PANEL: f"first {frequency.n} of each panel",
    }[frequency.kind]


def is_due(frequency: Frequency, *, position_in_lot: int, position_in_panel: int | None = None) -> bool:
    """Tell whether a method is due for a unit.

    Positions count from 1 in the order in which units are first run; 1 in n is due for the first and then
    every nth. A unit whose panel is not known (None) is due: measuring too much is safe, too little is not.
    Raises ValueError for a position below 1.
    """
    if position_in_lot < 1 or (position_in_panel is not None and position_in_panel < 1):
        raise ValueError(f"positions count from 1; got {position_in_lot} and {position_in_panel}")
    if frequency.kind is FrequencyKind.ONE_IN:
        return (position_in_lot - 1) % frequency.n == 0
    if frequency.kind is FrequencyKind.FIRST_OFF:
        return position_in_lot <= frequency.n
    if frequency.kind is FrequencyKind.PER_PANEL:
        return position_in_panel is None or position_in_panel <= frequency.n
    return True
