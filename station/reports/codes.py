"""Data Matrix codes (ISO/IEC 16022) for labels and travellers. The library is imported when the first one is made."""

from station.errors import StationError

LONGEST = 200
"""Characters; a serial has a dozen or two."""
QUIET = 2
"""Modules of white around a code; the standard asks for one."""


class CodeError(StationError):
    """A text can't be made into a code; the message says why."""


def data_matrix(text: str) -> tuple[tuple[bool, ...], ...]:
    """Return the modules of a code, row by row, True for dark, without the white around it.

    Raises:
        CodeError: the text is empty, too long or not printable ASCII, which is what every scanner types.
    """
    if not text or len(text) > LONGEST or not (text.isascii() and text.isprintable()):
        raise CodeError(f"{text[:40]!r}: a code needs 1 to {LONGEST} printable ASCII characters.")
    import numpy as np
    import zxingcpp

    # Square: oblong symbols (ISO/IEC 21471) are smaller, but not every scanner knows them.
    code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
    image = np.array(code.to_image(scale=1, add_quiet_zones=False))
    return tuple(tuple(bool(each == 0) for each in row) for row in image)


def code_path(modules: tuple[tuple[bool, ...], ...]) -> tuple[str, int]:
    """Return the path of all dark modules for SVG, and the side of the drawing in modules, white included."""
    runs = [f"M{x + QUIET} {y + QUIET}h1v1h-1z" for y, row in enumerate(modules) for x, dark in enumerate(row) if dark]
    return "".join(runs), len(modules) + 2 * QUIET
