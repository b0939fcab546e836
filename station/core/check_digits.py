"""Check characters of serials: the pure system MOD 37-2 of ISO/IEC 7064, and the Luhn formula."""

import string

_ALPHABET = string.digits + string.ascii_uppercase + "*"


def pure_system_check(values: list[int], *, modulus: int, radix: int) -> int:
    """Return the check value of a pure system (ISO/IEC 7064:2003, 7.1): sum + check = 1 modulo `modulus`.

    `values` are the characters' values, left to right, check character not included.
    """
    product = 0
    for value in values:
        product = (product + value) * radix % modulus
    return (1 - product) % modulus


def mod37_2_check(text: str) -> str:
    """Return the MOD 37-2 check character (0-9, A-Z, *) of letters and digits; other characters don't count.

    Letters count as upper case.
    """
    values = [_ALPHABET.index(each) for each in text.upper() if each in _ALPHABET[:36]]
    return _ALPHABET[pure_system_check(values, modulus=37, radix=2)]


def luhn_check(text: str) -> str:
    """Return the Luhn check digit (ISO/IEC 7812-1:2017, annex B) of the digits of `text`."""
    total = 0
    for index, digit in enumerate(int(each) for each in reversed(text) if each in string.digits):
        doubled = digit * 2 if index % 2 == 0 else digit
        total += doubled - 9 if doubled > 9 else doubled
    return str(-total % 10)


CHECKS = {"iso7064-mod37-2": mod37_2_check, "luhn": luhn_check}
"""By the name that a plan's `check_digit` has."""
